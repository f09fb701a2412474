-- Every sheet text kept, with the hash it is kept under. Grain: one row a sheet text. Reads logged.sheet.
SELECT sha256, kind, name, text
FROM logged.sheet
ORDER BY sha256
