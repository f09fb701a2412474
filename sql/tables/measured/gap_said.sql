-- What is said, as a JSON message; stores before version 12 kept a sentence. Grain: as measured.gap.
ALTER TABLE measured.gap ADD COLUMN IF NOT EXISTS said VARCHAR
