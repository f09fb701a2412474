-- What happened that fits, from the instant $from to before $to, in the order asked for, with how much fits in all. Reads event.
SELECT entry_no, at_utc, kind, subject, role, person, told, count(*) OVER () AS fitting
FROM event
WHERE NOT EXISTS (SELECT 1 FROM json_each($words) AS word WHERE instr(find, word.value) = 0)
    AND CASE WHEN $kind = '' THEN role <> '' ELSE $kind = kind END
    AND $role IN ('', role)
    AND ($from = '' OR at_utc >= $from)
    AND ($to = '' OR at_utc < $to)
ORDER BY
    CASE WHEN NOT $down THEN CASE $sort WHEN 'subject' THEN subject WHEN 'who' THEN role || person WHEN 'kind' THEN kind ELSE entry_no END END,
    CASE WHEN $down THEN CASE $sort WHEN 'subject' THEN subject WHEN 'who' THEN role || person WHEN 'kind' THEN kind ELSE entry_no END END DESC,
    entry_no DESC
LIMIT $most OFFSET $skip
