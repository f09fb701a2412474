-- Every folder of readings that a load or an assessment stands on. Grain: one row a folder.
SELECT folder FROM logged.load
UNION ALL
SELECT folder FROM judged.assessment WHERE folder <> ''
