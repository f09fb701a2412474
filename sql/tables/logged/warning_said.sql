-- What is said, as a JSON message; stores before version 13 kept a sentence. Grain: as logged.warning.
ALTER TABLE logged.warning ADD COLUMN IF NOT EXISTS said VARCHAR
