"""The straight line of a reading: load, place, measure, judge, as plain functions without a store."""
