"""Computation sheets: each computed verdict worked out so that a pocket calculator can follow it."""
