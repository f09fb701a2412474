-- Notes that this database now has the tables of $version.
INSERT OR IGNORE INTO journal.store_version (version, since_utc, software)
VALUES ($version, $since_utc, $software)
