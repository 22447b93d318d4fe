-- decision: what a named person decided about a row that could not be true. Never changed but for a name that is no longer kept. Grain: one row a decision.
CREATE TABLE IF NOT EXISTS decision (
    seq BIGINT NOT NULL,            -- the row, as it arrived
    verdict VARCHAR NOT NULL CHECK (verdict IN ('confirmed', 'rejected')),
    who VARCHAR NOT NULL,           -- initials or a role
    done_at TIMESTAMP NOT NULL,     -- UTC
    because VARCHAR NOT NULL,
    sha256 VARCHAR                  -- of the correction that took the row's place; empty where it was rejected
);
