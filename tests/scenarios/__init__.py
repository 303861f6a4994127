"""Whole days of the invented world, played through the API to the end and read back from what it says."""
