"""Evidence bytes to facts: type decided by content, every decoder in a limited child process."""

from jobs.intake.child import decode as decode
from jobs.intake.decoded import Decoded as Decoded
from jobs.intake.limits import DEFAULT_LIMITS as DEFAULT_LIMITS
from jobs.intake.limits import Limits as Limits

__all__ = ["DEFAULT_LIMITS", "Decoded", "Limits", "decode"]
