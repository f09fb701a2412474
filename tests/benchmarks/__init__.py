"""How fast is it, against floors measured in the same run on the same bytes? `python -m tests.benchmarks --help`."""

import pipeline.cli  # noqa: F401 - before NumPy, whose threads it sets
