-- hold_event: what happened to what is held. Never deleted, never changed but for a name that is no longer kept. Grain: one row an act on a hold.
CREATE TABLE IF NOT EXISTS hold_event (
    hold VARCHAR NOT NULL,
    done_at TIMESTAMP NOT NULL,     -- UTC; of a hold that an alert made, the instant of its batch: the same logs give the same hold
    who VARCHAR NOT NULL,           -- initials or a role; empty where the alert itself held
    role VARCHAR NOT NULL,          -- what that person was then; empty where the alert itself held, or nobody signs in
    act VARCHAR NOT NULL CHECK (act IN ('held', 'released', 'disposed', 'left the house')),
    ground VARCHAR NOT NULL,        -- what kind of doubt
    because VARCHAR NOT NULL,
    pastes VARCHAR[] NOT NULL,      -- paste batches the act covers, by paste_key
    doughs VARCHAR[] NOT NULL,      -- dough batches the act covers, by batch_key
    alert VARCHAR NOT NULL          -- the alert that made the hold; empty: held by hand
);
