-- Each value that a list may be narrowed to, once. Reads run, reel, finding, event.
SELECT 'line' AS name, line AS value FROM run
UNION SELECT 'product', product FROM run
UNION SELECT 'standing of reel', standing FROM reel
UNION SELECT 'standing of finding', standing FROM finding
UNION SELECT 'severity', severity FROM finding
UNION SELECT 'kind', kind FROM event WHERE role <> ''
UNION SELECT 'role', role FROM event WHERE role <> ''
ORDER BY 1, 2
