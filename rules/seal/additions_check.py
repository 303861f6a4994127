"""What was added after sealing: numbered without a gap, each tied to the one before and to the seal."""

import re
from collections.abc import Mapping
from typing import Any, Final

from rules.canonical import sha256_hex
from rules.seal.enclosed import PartError, read_canonical
from rules.seal.log_extract import ADDED, Extract
from rules.seal.report import Line, judged, not_checked

FORMAT: Final = "addition 1"
KINDS: Final = frozenset(
    {"time_stamp", "late_certificate", "look_back", "rule_change", "comeback", "superseded", "retention"}
)
NAME: Final = re.compile(r"addition-(\d{4})\.(json|pdf)")
JSON_NAME: Final = "addition-{:04d}.json"
_NAMES: Final = frozenset({"format", "packet", "number", "kind", "at", "text", "facts", "sealed", "previous"})


def additions_line(
    additions: Mapping[str, bytes],
    *,
    serial: str,
    sealed: tuple[str, str],
    extract: Extract | None,
    is_proven: bool = True,
) -> Line:
    """Checks the chain of additions, and each against the log where an extract is at hand.

    Args:
        additions: bytes by name, ``addition-0001.json`` and, not looked into, ``addition-0001.pdf``.
        serial: of the packet they belong to.
        sealed: root of the packet and SHA-256 of its sealed file (empty where not known).
        is_proven: whether the extract is signed by a key that the reader has to do with.
    """
    faults: list[str] = []
    previous, count = "", 0
    for name in sorted(additions):
        match = NAME.fullmatch(name)
        if match is None:
            faults.append(f"{name}: no name of an addition")
        elif match[2] == "json":
            count += 1
            if fault := _fault(additions[name], count, previous, (serial, *sealed)):
                faults.append(f"{name}: {fault}")
            previous = sha256_hex(additions[name])
    faults += _against_log(additions, extract)
    faults += [
        f"{name}: pages without what they were made from"
        for name in additions
        if name.endswith(".pdf") and name.removesuffix("pdf") + "json" not in additions
    ]
    if extract is None and not faults:
        return not_checked("additions", "Without a log extract nobody can say whether one was left out.")
    if not is_proven and not faults:
        return not_checked("additions", "The log extract that tells of them is signed by another key.")
    return judged("additions", faults, _good(count), "What was added after sealing does not hold.")


def _good(count: int) -> str:
    told = f"{count} additions form one chain from the sealed packet on, and the log tells of each."
    if not count:
        told = "The log extract tells of nothing that was added after sealing."
    return f"{told} What was added after the extract was written cannot be seen from this file."


def _fault(data: bytes, number: int, previous: str, seal: tuple[str, str, str]) -> str:
    try:
        plain = read_canonical(data, "it")
    except PartError as error:
        return str(error)
    if set(plain) != _NAMES or plain["format"] != FORMAT or plain["kind"] not in KINDS:
        return "it has another form"
    if plain["number"] != number:
        return f"it is number {plain['number']} where {number} is due"
    if plain["previous"] != previous:
        return "it does not follow the one before it"
    return "" if _is_of(plain, seal) else "it is of another packet"


def _is_of(plain: dict[str, Any], seal: tuple[str, str, str]) -> bool:
    serial, root, pdf_sha256 = seal
    told = plain["sealed"]
    if not isinstance(told, dict) or set(told) != {"root", "pdf_sha256"} or plain["packet"] != serial:
        return False
    return told["root"] == root and (not pdf_sha256 or told["pdf_sha256"] == pdf_sha256)


def _against_log(additions: Mapping[str, bytes], extract: Extract | None) -> list[str]:
    if extract is None:
        return []
    logged = {
        JSON_NAME.format(number): str(entry.detail.get("sha256", ""))
        for entry in extract.of(ADDED)
        if type(number := entry.detail.get("number")) is int
    }
    faults = [
        f"{name}: the log has another hash for it"
        for name, data in additions.items()
        if name.endswith(".json") and logged.get(name) != sha256_hex(data)
    ]
    return faults + [
        f"{name}: the log tells of it, and it is missing" for name in logged if name not in additions
    ]
