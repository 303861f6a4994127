"""The invented world's moving parts: drives written as a few words and played as fixes."""
