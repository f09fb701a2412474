-- Put a hold in force on the board.
INSERT INTO hold (number, about, subject, told) VALUES ($number, $about, $subject, $told)
