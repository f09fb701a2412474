-- Take the table away, to be made anew.
DROP TABLE IF EXISTS turned
