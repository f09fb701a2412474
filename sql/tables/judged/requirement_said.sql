-- What is said of a requirement on a reel, as a JSON message; stores before version 11 kept a sentence. Grain: as judged.requirement.
ALTER TABLE judged.requirement ADD COLUMN IF NOT EXISTS said VARCHAR
