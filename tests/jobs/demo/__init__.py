"""Tests of the invented world."""
