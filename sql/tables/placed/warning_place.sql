-- Where on the wire it is [m], NULL where it has no place; stores before version 12 kept none. Grain: as placed.warning.
ALTER TABLE placed.warning ADD COLUMN IF NOT EXISTS at_m DOUBLE
