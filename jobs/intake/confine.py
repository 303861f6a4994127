"""Limits that the decoder process takes on itself, before any decoder is loaded."""

import ctypes
import json
import os
import resource
import sys
from typing import Any, Final

_CLONE_NEWUSER: Final = 0x10000000
_CLONE_NEWNET: Final = 0x40000000


def begin() -> None:
    """Sets the limits of the order in the second argument and leaves the network."""
    _limit(json.loads(sys.argv[2]))
    _leave_network()


def _limit(order: dict[str, Any]) -> None:
    for what, most in (
        (resource.RLIMIT_AS, order["memory_bytes"]),
        (resource.RLIMIT_CPU, order["cpu_s"]),
        (resource.RLIMIT_FSIZE, order["working_copy_bytes"]),
        (resource.RLIMIT_NOFILE, order["open_files"]),
        (resource.RLIMIT_NPROC, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        _, ceiling = resource.getrlimit(what)
        bound = most if ceiling == resource.RLIM_INFINITY else min(most, ceiling)
        resource.setrlimit(what, (bound, bound))


def _leave_network() -> None:
    """Moves into an empty network where the system allows that; elsewhere nothing changes.

    Root needs no user namespace for it, and would lose its right to read its own code in one.
    """
    unshare = getattr(ctypes.CDLL(None, use_errno=True), "unshare", None)
    if unshare is not None:
        unshare(_CLONE_NEWNET if os.geteuid() == 0 else _CLONE_NEWUSER | _CLONE_NEWNET)
