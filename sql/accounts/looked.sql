-- How far account $key has looked. Reads looked.
SELECT entry_no FROM looked WHERE key = $key
