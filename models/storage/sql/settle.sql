-- The account of one log: what became of each row whose identity is in `touched`. A returned row: one row of the log.
-- Rows of one identity in order of arrival. The same values as the row in force: duplicate. Other values: the newer
-- credible row supersedes the older; a row that cannot be true never displaces one that can.
WITH scope AS (
    SELECT seq, identity, digest, credible AND NOT asks AS good FROM {rows}
    WHERE identity IN (SELECT identity FROM touched)
), marked AS (
    SELECT *,
        CASE WHEN good THEN digest IS NOT DISTINCT FROM lag(digest) OVER (PARTITION BY identity, good ORDER BY seq)
             ELSE row_number() OVER (PARTITION BY identity, good, digest ORDER BY seq) > 1 END AS again
    FROM scope
), last AS (
    SELECT *,
        max(seq) FILTER (good AND NOT again) OVER (PARTITION BY identity) AS last_good,
        max(seq) FILTER (good) OVER (PARTITION BY identity) AS last_good_seen,
        max(seq) FILTER (NOT good AND NOT again) OVER (PARTITION BY identity) AS last_doubtful
    FROM marked
)
SELECT seq, CASE
    WHEN again THEN 'duplicate'
    WHEN good AND seq = last_good THEN 'accepted'
    WHEN NOT good AND seq = last_doubtful AND seq > coalesce(last_good_seen, -1) THEN 'quarantined'
    ELSE 'superseded' END AS status
FROM last
