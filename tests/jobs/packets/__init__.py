"""Tests of the packet."""
