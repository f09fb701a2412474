-- What is said, as a JSON message; stores before version 12 kept a sentence. Grain: as placed.counter_event.
ALTER TABLE placed.counter_event ADD COLUMN IF NOT EXISTS said VARCHAR
