-- What is said, as a JSON message; stores before version 15 kept a sentence in `reason`. Grain: as logged.set_aside.
ALTER TABLE logged.set_aside ADD COLUMN IF NOT EXISTS said VARCHAR
