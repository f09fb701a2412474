-- Put what an entry of the journal keeps on the board.
INSERT OR REPLACE INTO event (entry_no, at_utc, kind, subject, role, person, told, mention, find)
VALUES ($entry_no, $at_utc, $kind, $subject, $role, $person, $told, $mention, $find)
