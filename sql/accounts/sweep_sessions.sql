-- Ends sessions that nobody used since $seen_utc or that began before $begun_utc.
DELETE FROM session
WHERE seen_utc < $seen_utc OR begun_utc < $begun_utc
