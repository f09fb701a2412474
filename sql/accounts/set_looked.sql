-- Note how far account $key has looked.
INSERT INTO looked (key, entry_no)
VALUES ($key, $entry_no)
ON CONFLICT (key) DO UPDATE SET entry_no = excluded.entry_no
