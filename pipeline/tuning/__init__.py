"""What a process engineer may turn, and what it would be worth."""
