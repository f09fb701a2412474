-- The alarm budget as a JSON message, for a table that stood before version 14. Grain: as judged.control_chart.
ALTER TABLE judged.control_chart ADD COLUMN IF NOT EXISTS said VARCHAR
