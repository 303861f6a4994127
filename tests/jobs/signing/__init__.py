"""Signing keys, tokens, time stamps."""
