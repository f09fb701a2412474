-- Which kinds of entries the journal has after entry $entry_no. Grain: one row a kind. Reads journal.entry.
SELECT DISTINCT kind
FROM journal.entry
WHERE entry_no > $entry_no
ORDER BY kind
