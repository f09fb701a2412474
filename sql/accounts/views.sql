-- The lists that account $key keeps. Reads view.
SELECT name, address FROM view WHERE key = $key ORDER BY name
