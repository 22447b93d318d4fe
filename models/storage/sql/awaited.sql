-- Which of the overdrawn pastes $keys await a paste sheet, and the dates of the doughs whose sheet it is. Grain: one row a paste.
-- A dough of another day than the paste's first ones, by the clock; no paste of its kettle and shift of a later date was cooked for
-- it, or doughs of its line and date wait for theirs. Left out where it is overdrawn without such doughs, too.
WITH overdrawn AS (
    SELECT paste_key, kettle, shift, shift_date, overdrawn_kg FROM pastes WHERE paste_key IN (SELECT unnest($keys))
), drawn AS (
    SELECT paste_key, line, shift_date, mixed_at, paste_kg FROM log_dough WHERE status IN ('accepted', 'waiting')
    UNION ALL
    SELECT paste_key_2, line, shift_date, mixed_at, paste_kg_2 FROM log_dough WHERE status IN ('accepted', 'waiting')
), later AS (
    SELECT o.*, d.line, d.shift_date AS dough_date, d.mixed_at, coalesce(d.paste_kg, 0) AS kg
    FROM overdrawn o JOIN drawn d USING (paste_key)
    QUALIFY d.mixed_at >= min(d.mixed_at) OVER (PARTITION BY o.paste_key) + to_hours({one_day_h})
), waiting AS (
    SELECT DISTINCT line, shift_date AS dough_date FROM log_dough
    WHERE status = 'waiting' AND shift_date IN (SELECT dough_date FROM later)
), sheetless AS (
    SELECT l.* FROM later l
    WHERE EXISTS (SELECT 1 FROM waiting w WHERE w.line = l.line AND w.dough_date = l.dough_date)
        OR NOT EXISTS (SELECT 1 FROM log_paste p WHERE p.kettle = l.kettle AND p.shift = l.shift AND p.shift_date > l.shift_date
            AND p.cook_end <= l.mixed_at AND p.cook_end >= l.mixed_at - to_hours({own_h})
            AND p.status IN ('accepted', 'quarantined'))
)
SELECT paste_key, array_to_string(list_sort(list(DISTINCT CAST(CAST(dough_date AS DATE) AS VARCHAR))), ', ')
FROM sheetless GROUP BY paste_key HAVING sum(kg) >= any_value(overdrawn_kg)
