-- The rule by which a point calls for a look, as a JSON message; stores before version 15 kept a sentence in `rule`. Grain: as judged.line_signal.
ALTER TABLE judged.line_signal ADD COLUMN IF NOT EXISTS said VARCHAR
