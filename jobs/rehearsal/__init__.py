"""Rehearsing whole jobs: a scenario file is played through the real services in a database of its own."""
