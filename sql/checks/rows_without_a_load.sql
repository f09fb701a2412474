-- Stop: rows of files, lines or lots that belong to no load. Grain: one row a stray; must be empty.
SELECT 'logged.file' AS name, load_id FROM logged.file WHERE load_id NOT IN (SELECT load_id FROM logged.load)
UNION ALL
SELECT 'logged.file_growth', load_id FROM logged.file_growth WHERE load_id NOT IN (SELECT load_id FROM logged.load)
UNION ALL
SELECT 'logged.set_aside', load_id FROM logged.set_aside WHERE load_id NOT IN (SELECT load_id FROM logged.load)
UNION ALL
SELECT 'logged.material', load_id FROM logged.material WHERE load_id NOT IN (SELECT load_id FROM logged.load)
UNION ALL
SELECT 'judged.assessment', load_id FROM judged.assessment WHERE load_id NOT IN (SELECT load_id FROM logged.load)
