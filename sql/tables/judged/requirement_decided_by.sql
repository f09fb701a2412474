-- The rule by which it was decided, as a JSON message, NULL where nothing was; stores before version 15 kept a sentence in `decision_rule`. Grain: as judged.requirement.
ALTER TABLE judged.requirement ADD COLUMN IF NOT EXISTS decided_by VARCHAR
