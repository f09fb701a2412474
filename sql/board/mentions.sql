-- Comments for a role or person after entry $entry_no, oldest first. Reads event.
SELECT entry_no, subject, told FROM event WHERE mention IN ($role, $person) AND mention <> '' AND entry_no > $entry_no ORDER BY entry_no
