-- alert: every alert ever raised, in force as last seen. Grain: one row an episode. Never deleted.
CREATE TABLE IF NOT EXISTS alert (
    alert VARCHAR PRIMARY KEY,
    signalled_at TIMESTAMP NOT NULL,
    body VARCHAR NOT NULL,          -- JSON of the whole alert
    first_run INTEGER NOT NULL,
    last_run INTEGER NOT NULL       -- the last run that changed it
);
