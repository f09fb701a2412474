-- Which journal entries the samples on file say they belong to. Grain: one row an entry. Reads journal.sample.
SELECT DISTINCT 'journal.sample' AS name, 'sample' AS kind, entry_no AS number
FROM journal.sample
ORDER BY number
