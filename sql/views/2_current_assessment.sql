-- The newest judgement of the newest load of each run. Grain: one row a run. Reads judged.assessment, logged.current_load.
CREATE OR REPLACE VIEW judged.current_assessment AS
SELECT assessment.*
FROM judged.assessment AS assessment
JOIN logged.current_load AS current_load USING (load_id, run_id) -- by the run too: asked about one run, only its loads are looked through
QUALIFY row_number() OVER (PARTITION BY assessment.run_id ORDER BY assessment.assessment_id DESC) = 1
