-- What is said of a finding's cause, as a JSON message; stores before version 10 kept a sentence. Grain: as judged.finding.
ALTER TABLE judged.finding ADD COLUMN IF NOT EXISTS cause_said VARCHAR
