-- The hashes of all sheets kept. Grain: one row a sheet text. Reads logged.sheet.
SELECT sha256
FROM logged.sheet
