-- How many rows each table that loading fills has, to see that nothing was doubled. Grain: one row a table.
SELECT 'logged.load' AS name, count(*) AS rows FROM logged.load
UNION ALL
SELECT 'logged.file', count(*) FROM logged.file
UNION ALL
SELECT 'logged.file_growth', count(*) FROM logged.file_growth
UNION ALL
SELECT 'logged.set_aside', count(*) FROM logged.set_aside
UNION ALL
SELECT 'logged.material', count(*) FROM logged.material
UNION ALL
SELECT 'logged.sheet', count(*) FROM logged.sheet
UNION ALL
SELECT 'journal.entry', count(*) FROM journal.entry
