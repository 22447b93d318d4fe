-- page: which reports there are, and when their figures were first and last printed. Grain: one row a page.
-- A page whose last_run is newer than what lies in the reports folder is written by the next run, so that
-- an interrupted run loses none.
CREATE TABLE IF NOT EXISTS page (
    page VARCHAR PRIMARY KEY,       -- day:2026-05-06, month:2026-05, alert:<id>
    first_run INTEGER NOT NULL,
    last_run INTEGER NOT NULL
);
