-- replaced: a row in whose place a row of a workbook made for correcting it came. Never changed. Grain: one row a replacing row.
CREATE TABLE IF NOT EXISTS replaced (
    seq BIGINT NOT NULL,            -- the row that waited, as it arrived
    by_seq BIGINT NOT NULL          -- the workbook's row
);
