-- Whether this store has the table of laboratory samples; a store before version 7 has none. Grain: one row.
SELECT count(*) > 0 AS has_samples
FROM information_schema.tables
WHERE table_schema = 'journal' AND table_name = 'sample'
