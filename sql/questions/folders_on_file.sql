-- Every folder of readings that a load or an assessment stands on, or that stands in place of one. Grain: one row a folder.
SELECT folder FROM logged.load
UNION ALL
SELECT folder FROM judged.assessment WHERE folder <> ''
UNION ALL
SELECT folder FROM logged.thinning
