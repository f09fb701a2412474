-- Holds in force, oldest first. Reads hold.
SELECT number, about, subject, told FROM hold ORDER BY number
