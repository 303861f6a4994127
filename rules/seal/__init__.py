"""Proofs a stranger can check with the standard library alone: log trees, signed heads, keys, seals."""
