-- Take a list of account $key away.
DELETE FROM view WHERE key = $key AND name = $name
