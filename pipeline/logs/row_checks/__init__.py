"""Checks of single readings: each finds rows of one channel for one named reason."""
