"""Inside the limited child process: checks the file on standard input, writes one JSON answer."""

import json
import os
import sys
from typing import Any

from rules.seal.bundle_check import check_file
from rules.seal.enclosed import NotAPacketError


def main() -> None:
    """Runs the check; called after ``jobs.intake.confine.begin``."""
    order = json.loads(sys.argv[2])
    answer = json.dumps(_answer(order)).encode()
    with os.fdopen(1, "wb") as pipe:
        pipe.write(answer)


def _answer(order: dict[str, Any]) -> dict[str, Any]:
    try:
        found = check_file(sys.stdin.buffer, key=order["key"] or None)
    except NotAPacketError as error:
        return {"state": "unreadable", "message": str(error)}
    return {"state": "checked", "found": found.to_plain()}
