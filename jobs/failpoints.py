"""Places where a fault test may stop or kill the process; elsewhere than in test mode they do nothing.

``WM_FAILPOINT=<name>:hang`` waits there until killed, ``<name>:exit`` ends the process at once without any
clean-up, ``<name>:raise`` raises. The file ``failpoint.<name>`` in the data folder says it was reached.
"""

import os
import signal
from pathlib import Path

from django.conf import settings


class FailpointError(RuntimeError):
    """Raised at a failpoint that asks for it."""


def reached(name: str) -> None:
    """Does what ``WM_FAILPOINT`` asks for at this place; nothing outside test mode."""
    wanted, _, action = settings.WM_FAILPOINT.rpartition(":")
    if settings.WM_MODE != "test" or wanted != name:
        return
    marker = Path(settings.WM_DATA_DIR) / f"failpoint.{name}"
    marker.write_text(str(os.getpid()), encoding="ascii")
    if action == "raise":
        raise FailpointError(name)
    if action == "exit":
        os._exit(70)
    if action == "hang":
        while True:
            signal.pause()
