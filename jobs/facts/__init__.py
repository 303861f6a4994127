"""Database to ``rules.facts``: what a verdict on one job may rest on, read in a fixed number of queries."""

from jobs.facts.build import job_facts
from jobs.facts.packs import pack_set

__all__ = ["job_facts", "pack_set"]
