"""Packet pages: facts and judgement to plain view data, one module per chapter; templates only place it."""
