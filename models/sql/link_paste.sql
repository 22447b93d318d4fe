-- Which paste the doughs in `linking` (seq, paste_batch, kettle, at) name. A returned row: one row of `linking`.
-- The latest such paste in force cooked before the mixing, at most 72 h before: of the line's own kettle where it
-- has one, else of any; two cooked at that very time are asked about.
WITH made AS (
    SELECT paste_batch, kettle, cook_end, paste_key FROM log_paste
    WHERE status = 'accepted' AND paste_batch IN (SELECT paste_batch FROM linking)
), own AS (
    SELECT paste_batch, kettle, cook_end, count(*) AS fit, min(paste_key) AS paste_key FROM made GROUP BY ALL
), every AS (
    SELECT paste_batch, cook_end, count(*) AS fit, min(paste_key) AS paste_key FROM made GROUP BY ALL
), nearest AS (
    SELECT l.seq,
        CASE WHEN l.at - o.cook_end <= to_seconds({within_s}) THEN o.paste_key END AS own_key,
        CASE WHEN l.at - o.cook_end <= to_seconds({within_s}) THEN o.fit END AS own_fit,
        CASE WHEN l.at - e.cook_end <= to_seconds({within_s}) THEN e.paste_key END AS any_key,
        CASE WHEN l.at - e.cook_end <= to_seconds({within_s}) THEN e.fit END AS any_fit
    FROM linking l
    ASOF LEFT JOIN own o ON l.paste_batch = o.paste_batch AND l.kettle = o.kettle AND l.at >= o.cook_end
    ASOF LEFT JOIN every e ON l.paste_batch = e.paste_batch AND l.at >= e.cook_end
)
SELECT seq,
    CASE WHEN coalesce(own_fit, any_fit) = 1 THEN coalesce(own_key, any_key) END AS paste_key,
    coalesce(coalesce(own_fit, any_fit) > 1, false) AS asks
FROM nearest
