"""How line logs become typed readings that keep their file and line."""

import csv

# A line may have 16 MB; what the library refuses by itself, at 128 KB, it refuses by an error and not as a line.
csv.field_size_limit(1 << 25)
