-- raw_file: files whose rows as they arrived are read back from the archive, where `raw_row` has none of them.
-- Grain: one row a file. Its row of seq `first_seq` is line 2, and so on, a line each.
CREATE TABLE IF NOT EXISTS raw_file (
    file_id INTEGER PRIMARY KEY,
    kind VARCHAR NOT NULL,
    first_seq BIGINT NOT NULL,
    rows BIGINT NOT NULL,
    columns VARCHAR NOT NULL,       -- JSON list: the names of its columns, as in `raw_row`
    delimiter VARCHAR NOT NULL
);
