-- finding: where the process, not the sheet, was out of its limits. Grain: one row a rule that a batch breaks.
CREATE TABLE IF NOT EXISTS finding (
    rule VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,          -- pastes or batches
    key VARCHAR NOT NULL,           -- paste_key or batch_key
    shift_date DATE,
    line VARCHAR,
    kettle VARCHAR,
    product VARCHAR,
    "column" VARCHAR NOT NULL,
    value DOUBLE,
    low DOUBLE,
    high DOUBLE,
    level VARCHAR NOT NULL CHECK (level IN ('warning', 'action')),
    says VARCHAR NOT NULL
);
