"""The portal's name for the one clock reader, which lives in ``jobs.moment``."""

from jobs.moment import now

__all__ = ["now"]
