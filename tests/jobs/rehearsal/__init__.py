"""Tests of scenario files and of playing them."""
