"""The main job step by step on a store: load, assess, pages, as plain functions without an engine."""
