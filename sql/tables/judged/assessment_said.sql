-- Why nothing is concluded, as a JSON message; stores before version 13 kept a sentence. Grain: as judged.assessment.
ALTER TABLE judged.assessment ADD COLUMN IF NOT EXISTS said VARCHAR
