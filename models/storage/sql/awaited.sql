-- Which of the overdrawn pastes $keys await a paste sheet, and the dates of the doughs whose sheet it is. Grain: one row a paste.
-- A dough of another day than the paste's first ones, by the clock; no paste of its kettle and shift of a later date was cooked for
-- it, nor any in the hours of the paste's own sheet, or doughs of its line and date wait for theirs, or a later paste has the number
-- that the dough names with other zeros. Left out where it is overdrawn without such doughs, too.
WITH overdrawn AS (
    SELECT paste_key, paste_batch, kettle, shift, shift_date, cook_end, overdrawn_kg FROM pastes WHERE paste_key IN (SELECT unnest($keys))
), cooked AS (
    SELECT seq, kettle, shift, shift_date, cook_end FROM log_paste
    WHERE status IN ('accepted', 'quarantined') AND cook_end IS NOT NULL AND kettle IN (SELECT kettle FROM overdrawn)
), around AS (
    -- what the kettle cooked within the twelve hours before and after: every hour of a day once
    SELECT o.paste_key, o.cook_end AS at, c.* , c.shift = o.shift AND c.shift_date = o.shift_date AS of_its_sheet
    FROM overdrawn o JOIN cooked c ON c.kettle = o.kettle
        AND c.cook_end > o.cook_end - INTERVAL 12 HOUR AND c.cook_end <= o.cook_end + INTERVAL 12 HOUR
), next_days AS (
    -- a kettle cooks one batch at a time: what is cooked in the hours of a sheet is that sheet's, whatever shift it names
    SELECT a.paste_key, c.cook_end, a.of_its_sheet,
        abs((epoch(c.cook_end) - epoch(a.cook_end) + 43200) % 86400 - 43200) AS off_s
    FROM around a JOIN cooked c ON c.kettle = a.kettle AND c.cook_end > a.at + INTERVAL 12 HOUR
        AND c.cook_end <= a.at + INTERVAL {reach_h} HOUR
    QUALIFY row_number() OVER (PARTITION BY a.paste_key, c.seq ORDER BY off_s, a.seq) = 1
), same_hours AS (
    SELECT paste_key, cook_end FROM next_days WHERE of_its_sheet AND off_s <= 3600 * {same_hours_h}
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
        AND NOT EXISTS (SELECT 1 FROM same_hours s WHERE s.paste_key = l.paste_key
            AND s.cook_end <= l.mixed_at AND s.cook_end >= l.mixed_at - to_hours({own_h}))
        OR EXISTS (SELECT 1 FROM log_paste p WHERE p.kettle = l.kettle AND p.cook_end > l.cook_end
            AND p.cook_end <= l.mixed_at AND p.cook_end >= l.mixed_at - to_hours({own_h})
            AND p.status IN ('accepted', 'quarantined') AND p.paste_batch <> l.paste_batch AND {cooked_as} = {named_as})
)
SELECT paste_key, array_to_string(list_sort(list(DISTINCT CAST(CAST(dough_date AS DATE) AS VARCHAR))), ', ')
FROM sheetless GROUP BY paste_key HAVING sum(kg) >= any_value(overdrawn_kg)
