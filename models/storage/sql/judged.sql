-- judged: which rules had something to judge. Grain: one row a rule and production day.
CREATE TABLE IF NOT EXISTS judged (
    rule VARCHAR NOT NULL,
    kind VARCHAR NOT NULL,
    shift_date DATE,                -- empty: the row does not say
    judged BIGINT NOT NULL,
    broken BIGINT NOT NULL,
    could_run BOOLEAN NOT NULL
);
