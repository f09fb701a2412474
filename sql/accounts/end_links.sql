-- Ends every open link of $key, or of nobody where that is none.
UPDATE link SET used_utc = $at_utc
WHERE used_utc IS NULL AND key IS $key
