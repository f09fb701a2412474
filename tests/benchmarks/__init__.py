"""How fast is it, against floors measured in the same run on the same bytes? `python -m tests.benchmarks --help`."""
