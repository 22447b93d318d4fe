-- memo: what was worked out before, derived from the other tables and made again where it is missing. Grain: one row a piece.
CREATE TABLE IF NOT EXISTS memo (
    what VARCHAR NOT NULL,          -- chart, trace or weight
    name VARCHAR NOT NULL,          -- the stream, the episode or the shift
    key VARCHAR NOT NULL,           -- fingerprint of what it was made from
    body VARCHAR NOT NULL           -- JSON
);
