-- What a reader must know beside a limit; stores before version 7 kept none. Grain: as judged.limit.
ALTER TABLE judged."limit" ADD COLUMN IF NOT EXISTS note VARCHAR
