"""Small made-up inputs for the tests of trust."""

import polars as pl

NO_FLAGS = pl.DataFrame(schema={"row": pl.UInt32, "channel": pl.String, "flag": pl.UInt8})
