-- What is said, as a JSON message; stores before version 12 kept a sentence. Grain: as placed.warning.
ALTER TABLE placed.warning ADD COLUMN IF NOT EXISTS said VARCHAR
