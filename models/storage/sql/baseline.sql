-- baseline: the frozen level and spread of each chart. Grain: one row a chart and the run that set it.
CREATE TABLE IF NOT EXISTS baseline (
    stream VARCHAR NOT NULL,        -- JSON of the stream's name
    run INTEGER NOT NULL,
    frozen BOOLEAN NOT NULL,        -- false: still learning, may be replaced by a later run
    baseline VARCHAR NOT NULL       -- JSON
);
