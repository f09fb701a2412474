"""What a product must be: sizes, walls, limits, ratings, each with its source."""
