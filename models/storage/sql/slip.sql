-- slip: why a row cannot be true. Grain: one row a rule that a row breaks; `place` 0 is the main reason.
CREATE TABLE IF NOT EXISTS slip (
    seq BIGINT NOT NULL,
    kind VARCHAR NOT NULL,
    place INTEGER NOT NULL,
    "column" VARCHAR NOT NULL,
    value VARCHAR NOT NULL,         -- as written
    rule VARCHAR NOT NULL,
    why VARCHAR NOT NULL,
    proposal VARCHAR,               -- the reading that would fit; empty: none
    cells VARCHAR,                  -- the same as JSON, column to text as a log writes it; of the main reason, for the whole row
    weight INTEGER NOT NULL         -- 1 food safety ... 9 a slip of the pen
);
