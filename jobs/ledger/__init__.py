"""The append-only log: what an entry says, the chain, the one writer, and a verifier that imports no writer.

The package itself imports nothing, so that ``jobs.ledger.verify`` can be loaded without the writer.
"""
