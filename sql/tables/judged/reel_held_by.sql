-- Findings that hold a reel, the gravest first; before version 10 their sentences stood among the reasons. Grain: as judged.reel.
ALTER TABLE judged.reel ADD COLUMN IF NOT EXISTS held_by VARCHAR[]
