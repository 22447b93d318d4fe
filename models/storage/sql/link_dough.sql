-- Which dough the rows in `linking` (seq, dough_batch, line, at) belong to. A returned row: one row of `linking`.
-- The latest such dough mixed before it, at most 24 h before; two mixed at that very time are asked about. A dough
-- that still waits in quarantine is one that came: what belongs to it waits with it, and goes to no older one.
WITH known AS (
    SELECT dough_batch, line, mixed_at, batch_key, status <> 'quarantined' AS in_force FROM log_dough
    WHERE status IN ('accepted', 'waiting', 'quarantined') AND dough_batch IN (SELECT dough_batch FROM linking)
    QUALIFY in_force OR NOT bool_or(in_force) OVER (PARTITION BY identity)
), made AS (
    SELECT dough_batch, line, mixed_at, count(*) AS fit, bool_and(in_force) AS in_force, min(batch_key) AS batch_key
    FROM known GROUP BY dough_batch, line, mixed_at
), nearest AS (
    SELECT l.seq, m.batch_key, m.in_force, m.fit, l.at - m.mixed_at <= to_seconds({within_s}) AS near
    FROM linking l ASOF LEFT JOIN made m ON l.dough_batch = m.dough_batch AND l.line = m.line AND l.at >= m.mixed_at
)
SELECT seq, CASE WHEN near AND in_force AND fit = 1 THEN batch_key END AS batch_key, coalesce(near AND fit > 1, false) AS asks
FROM nearest
