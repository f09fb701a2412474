-- What is said, as a JSON message; stores before version 12 kept a sentence. Grain: as measured.agreement.
ALTER TABLE measured.agreement ADD COLUMN IF NOT EXISTS said VARCHAR
