-- replaced: a row in whose place a row of a workbook made for correcting it came. Never changed but for a name that is no longer kept.
-- Grain: one row a replacing row and a row it stands for (the one it names, and the one that one named).
CREATE TABLE IF NOT EXISTS replaced (
    seq BIGINT NOT NULL,            -- the row that waited, as it arrived
    by_seq BIGINT NOT NULL,         -- the workbook's row
    who VARCHAR,                    -- initials or a role; '' where nobody is named: it waits; empty before names were asked for
    done_at TIMESTAMP               -- UTC; the newest instant in the store when it came: a workbook has no clock
);
