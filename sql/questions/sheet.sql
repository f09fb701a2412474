-- The sheet text of hash $sha256. Grain: no row or one. Reads logged.sheet.
SELECT
    sha256, kind, name, text
FROM logged.sheet
WHERE sha256 = $sha256
ORDER BY sha256
