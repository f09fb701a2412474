"""The store: one DuckDB file and immutable Parquet readings."""
