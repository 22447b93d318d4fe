-- file: every log file ever taken or refused. Grain: one row a file's content (sha256).
-- The content itself lies unchanged in the archive beside the store, under its sha256.
CREATE TABLE IF NOT EXISTS file (
    file_id INTEGER PRIMARY KEY,
    path VARCHAR NOT NULL,          -- as found below the logs folder
    sha256 VARCHAR NOT NULL UNIQUE,
    kind VARCHAR,                   -- which log; empty where refused
    outcome VARCHAR NOT NULL CHECK (outcome IN ('taken', 'refused')),
    why VARCHAR NOT NULL,
    notes VARCHAR NOT NULL,         -- how it was read: decimal mark, order of dates
    run INTEGER NOT NULL            -- the run that took it
);
