-- raw_row: every row as it arrived, all cells as text. Never changed. Grain: one row a row of a file.
CREATE TABLE IF NOT EXISTS raw_row (
    seq BIGINT NOT NULL,            -- order of arrival: decides what supersedes what
    kind VARCHAR NOT NULL,
    file_id INTEGER NOT NULL,
    row BIGINT NOT NULL,            -- line of the file as a spreadsheet shows it
    cells VARCHAR NOT NULL          -- JSON object, header to text
);
