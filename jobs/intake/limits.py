"""What one decoding may cost, and how large each kind of evidence may be (project defaults)."""

from dataclasses import dataclass
from typing import Final

MEBIBYTE: Final = 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Limits of the child process; None means the default of the decoder.

    Attributes:
        wall_s: seconds until the child is killed.
        cpu_s: seconds of processor time.
        memory_bytes: address space; None gives 2 GiB to pictures (full frames in memory), else 1 GiB.
        max_bytes: largest input; None gives the limit of the evidence kind.
        answer_bytes: largest JSON answer read from the child.
        working_copy_bytes: largest file the child may write.
        open_files: file descriptors.
    """

    wall_s: float = 30.0
    cpu_s: int = 20
    memory_bytes: int | None = None
    max_bytes: int | None = None
    answer_bytes: int = 64 * MEBIBYTE
    working_copy_bytes: int = 8 * MEBIBYTE
    open_files: int = 64


DEFAULT_LIMITS: Final = Limits()
PICTURE_MEMORY_BYTES: Final = 2048 * MEBIBYTE
OTHER_MEMORY_BYTES: Final = 1024 * MEBIBYTE
# A painted picture in full size with its copies.
PAINTED_BYTES: Final = 64 * MEBIBYTE
