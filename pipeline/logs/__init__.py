"""How line logs become typed readings that keep their file and line."""
