"""Statistics that hold for in-line data; methods stand on each other without a circle."""
