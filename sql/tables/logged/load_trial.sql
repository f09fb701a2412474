-- Whether the run sheet calls the run a trial of settings; stores before version 13 did not keep it apart. Grain: as logged.load.
ALTER TABLE logged.load ADD COLUMN IF NOT EXISTS trial BOOLEAN
