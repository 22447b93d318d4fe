-- Which paste the doughs in `linking` (seq, paste_batch, kettle, at) name. A returned row: one row of `linking`.
-- The latest such paste cooked before the mixing, at most 72 h before: of the line's own kettle where it has one, else
-- of any; two cooked at that very time are asked about. A paste that still waits in quarantine is one that came: the
-- dough waits with it, and is not given to an older batch of the same number.
WITH known AS (
    SELECT paste_batch, kettle, cook_end, paste_key, status <> 'quarantined' AS in_force FROM log_paste
    WHERE status IN ('accepted', 'quarantined') AND paste_batch IN (SELECT paste_batch FROM linking)
    QUALIFY in_force OR NOT bool_or(in_force) OVER (PARTITION BY identity)
), own AS (
    SELECT paste_batch, kettle, cook_end, count(*) AS fit, bool_and(in_force) AS in_force, min(paste_key) AS paste_key
    FROM known GROUP BY paste_batch, kettle, cook_end
), every AS (
    SELECT paste_batch, cook_end, count(*) AS fit, bool_and(in_force) AS in_force, min(paste_key) AS paste_key
    FROM known GROUP BY paste_batch, cook_end
), nearest AS (
    SELECT l.seq,
        l.at - o.cook_end <= to_seconds({within_s}) AS own_near, o.fit AS own_fit, o.in_force AS own_in_force, o.paste_key AS own_key,
        l.at - e.cook_end <= to_seconds({within_s}) AS any_near, e.fit AS any_fit, e.in_force AS any_in_force, e.paste_key AS any_key
    FROM linking l
    ASOF LEFT JOIN own o ON l.paste_batch = o.paste_batch AND l.kettle = o.kettle AND l.at >= o.cook_end
    ASOF LEFT JOIN every e ON l.paste_batch = e.paste_batch AND l.at >= e.cook_end
)
SELECT seq,
    CASE WHEN own_near THEN CASE WHEN own_fit = 1 AND own_in_force THEN own_key END
         WHEN any_near AND any_fit = 1 AND any_in_force THEN any_key END AS paste_key,
    coalesce(CASE WHEN own_near THEN own_fit > 1 ELSE any_near AND any_fit > 1 END, false) AS asks
FROM nearest
