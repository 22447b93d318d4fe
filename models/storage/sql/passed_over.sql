-- passed_over: lines of a file that are no rows (title, units, totals, blank). Grain: one row a line.
CREATE TABLE IF NOT EXISTS passed_over (file_id INTEGER NOT NULL, row BIGINT NOT NULL, why VARCHAR NOT NULL);
