-- What to do first about a reel, as a JSON message, '' for nothing; stores before version 11 kept a sentence. Grain: as judged.reel.
ALTER TABLE judged.reel ADD COLUMN IF NOT EXISTS first_said VARCHAR
