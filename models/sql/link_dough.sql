-- Which dough the rows in `linking` (seq, dough_batch, line, at) belong to. A returned row: one row of `linking`.
-- The latest such dough in force mixed before it, at most 24 h before; two mixed at that very time are asked about.
WITH made AS (
    SELECT dough_batch, line, mixed_at, count(*) AS fit, min(batch_key) AS batch_key
    FROM log_dough WHERE status IN ('accepted', 'waiting')
        AND dough_batch IN (SELECT dough_batch FROM linking)
    GROUP BY ALL
)
SELECT l.seq, CASE WHEN l.at - m.mixed_at <= to_seconds({within_s}) AND m.fit = 1 THEN m.batch_key END AS batch_key,
    coalesce(l.at - m.mixed_at <= to_seconds({within_s}) AND m.fit > 1, false) AS asks
FROM linking l ASOF LEFT JOIN made m ON l.dough_batch = m.dough_batch AND l.line = m.line AND l.at >= m.mixed_at
