-- Which dough a loaf of $seqs probably is of: the one that the loaves of its line before and after it in its file both name.
-- Grain: one row a loaf of which that can be told.
WITH lacking AS (
    SELECT seq, file_id, line, measured_at FROM log_loaf WHERE seq IN (SELECT unnest($seqs)) AND dough_batch IS NULL
), named AS (
    SELECT seq, file_id, line, measured_at, dough_batch FROM log_loaf
    WHERE dough_batch IS NOT NULL AND file_id IN (SELECT file_id FROM lacking)
)
SELECT l.seq, b.dough_batch
FROM lacking l
ASOF JOIN named b ON l.file_id = b.file_id AND l.line = b.line AND l.seq > b.seq
ASOF JOIN named a ON l.file_id = a.file_id AND l.line = a.line AND l.seq < a.seq
WHERE b.dough_batch = a.dough_batch
    AND abs(date_diff('minute', b.measured_at, a.measured_at)) <= 60 * {within_h}
    AND l.measured_at BETWEEN least(b.measured_at, a.measured_at) - to_hours({within_h})
        AND greatest(b.measured_at, a.measured_at) + to_hours({within_h})
ORDER BY l.seq
