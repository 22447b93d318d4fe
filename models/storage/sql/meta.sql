-- meta: what the store is. Grain: one row, key 'version' and the like.
CREATE TABLE IF NOT EXISTS meta (key VARCHAR PRIMARY KEY, value VARCHAR NOT NULL);
