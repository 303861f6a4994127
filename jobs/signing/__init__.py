"""The organisation's signing key: where it lies, how it is opened, and what it signs."""
