"""Statistics that hold for in-line data; siblings here never import each other."""
