-- judged_batch: which batches each rule of *is this good?* could judge. Grain: one row a rule and batch.
CREATE TABLE IF NOT EXISTS judged_batch (
    rule VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,          -- pastes or batches
    key VARCHAR NOT NULL,           -- paste_key or batch_key
    shift_date DATE,
    broken BOOLEAN NOT NULL,
    could_run BOOLEAN NOT NULL
);
