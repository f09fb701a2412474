-- Ends the tokens of service $name that stand.
UPDATE service_token SET ended_utc = $at_utc
WHERE name = $name AND ended_utc IS NULL
