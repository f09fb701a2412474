-- Sheets that a load, judgement, act or thinning stands on and whose text is not on file. Grain: one row a sheet and what names it.
WITH named AS (
    SELECT 'load ' || load_id AS what, unnest([run_sheet_sha256, line_sheet_sha256, plant_sheet_sha256]) AS sha256
    FROM logged.load
    UNION
    SELECT 'assessment ' || assessment_id, plant_sheet_sha256
    FROM judged.assessment
    UNION
    SELECT 'journal entry ' || entry_no, plant_sheet_sha256
    FROM journal.act
)
SELECT min(what) AS what, sha256
FROM named
WHERE sha256 <> '' AND sha256 NOT IN (SELECT sheet.sha256 FROM logged.sheet AS sheet)
GROUP BY sha256
ORDER BY what
