"""Places where a fault test may stop or kill the process; elsewhere than in test mode they do nothing.

``WM_FAILPOINT=<name>:hang`` waits there until killed or let go, ``<name>:exit`` ends the process at once
without any clean-up, ``<name>:raise`` raises. The file ``failpoint.<name>`` in the data folder says that the
place was reached; removing it lets a hanging process go on.
"""

import os
import time
from pathlib import Path
from typing import Final

from django.conf import settings

LOOK_S: Final = 0.02


class FailpointError(RuntimeError):
    """Raised at a failpoint that asks for it."""


def marker_of(name: str, data_dir: str) -> Path:
    """The file that says a failpoint was reached."""
    return Path(data_dir) / f"failpoint.{name}"


def reached(name: str) -> None:
    """Does what ``WM_FAILPOINT`` asks for at this place; nothing outside test mode."""
    wanted, _, action = settings.WM_FAILPOINT.rpartition(":")
    if settings.WM_MODE != "test" or wanted != name:
        return
    marker = marker_of(name, settings.WM_DATA_DIR)
    marker.write_text(str(os.getpid()), encoding="ascii")
    if action == "raise":
        raise FailpointError(name)
    if action == "exit":
        os._exit(70)
    while action == "hang" and marker.exists():
        time.sleep(LOOK_S)
