-- Until when each dough is the one that a row of its number and line means. A returned row: one row a dough and calendar
-- day (UTC) of its reach, so that rows find their dough by equal columns and a day at once.
-- The latest such dough mixed before the row, at most `within_s` seconds before; two mixed at that very time are asked
-- about. A dough that still waits in quarantine is one that came: what belongs to it waits with it, and goes to no older one.
-- Only doughs that rows noted from `first` to `last` may mean: of years of others, none is.
WITH near AS (
    SELECT DISTINCT identity FROM log_dough
    WHERE mixed_at + to_seconds({within_s}) >= TIMESTAMP '{first}' AND mixed_at <= TIMESTAMP '{last}'
), known AS (
    SELECT dough_batch, line, mixed_at, batch_key, status <> 'quarantined' AS in_force FROM log_dough
    WHERE status IN ('accepted', 'waiting', 'quarantined') AND identity IN (SELECT identity FROM near)
    QUALIFY in_force OR NOT bool_or(in_force) OVER (PARTITION BY identity)
), made AS (
    SELECT dough_batch, line, mixed_at, count(*) AS fit, bool_and(in_force) AS in_force, min(batch_key) AS batch_key
    FROM known WHERE mixed_at IS NOT NULL GROUP BY dough_batch, line, mixed_at
), reach AS (
    SELECT *, lead(mixed_at) OVER (PARTITION BY dough_batch, line ORDER BY mixed_at) AS next_at,
        mixed_at + to_seconds({within_s}) AS last_at
    FROM made
)
SELECT dough_batch, line, mixed_at, last_at, coalesce(next_at, last_at + INTERVAL 1 SECOND) AS next_at, fit > 1 AS asks,
    CASE WHEN in_force AND fit = 1 THEN batch_key END AS batch_key,
    unnest(range(CAST(mixed_at AS DATE), least(next_at, last_at) + INTERVAL 1 DAY, INTERVAL 1 DAY)) AS day
FROM reach
