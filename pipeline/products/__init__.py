"""What each wire must be: sizes, walls, ratings and limits, every value with its source and revision."""
