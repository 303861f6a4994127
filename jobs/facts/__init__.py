"""Database to ``rules.facts``: what a verdict on one job may rest on, read in a fixed number of queries."""

from jobs.facts.build import job_facts
from jobs.facts.packs import PackShelf, edition_of, pack_set, pack_set_at, pack_set_for

__all__ = ["PackShelf", "edition_of", "job_facts", "pack_set", "pack_set_at", "pack_set_for"]
