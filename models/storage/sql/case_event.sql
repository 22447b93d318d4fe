-- case_event: what people did with an alert. Never deleted, never changed but for a name that is no longer kept. Grain: one row an act.
CREATE TABLE IF NOT EXISTS case_event (
    alert VARCHAR NOT NULL,
    done_at TIMESTAMP NOT NULL,         -- when, UTC
    who VARCHAR NOT NULL,           -- initials or a role
    act VARCHAR NOT NULL CHECK (act IN ('seen', 'done', 'closed', 'handed over')),
    found VARCHAR CHECK (found IN ('real', 'nothing found')),   -- of a closing only
    note VARCHAR NOT NULL
);
