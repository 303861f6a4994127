"""What a scenario expects of one job at one part, as read from the file."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.rehearsal.faults import Faults, Spot
from jobs.rehearsal.fields import (
    Field,
    checked,
    listing,
    may,
    number,
    read_table,
    text,
    when,
    whole,
    word,
    yes_no,
)
from jobs.rehearsal.nodes import Branch, Leaf, Table
from rules.verdict import REASON_ORDER

VERDICTS: Final = ("met", "not_met", "not_shown")
DISPOSITIONS: Final = ("none", "hold", "release", "release_with_waiver", "release_with_refusal")
_TYPED = re.compile(r"[+-]?\d{1,12}(?:\.(\d{1,9}))?", re.ASCII)
_REASONS = listing(word(REASON_ORDER))
_PROOF_NAME: Final = "a proof such as OV-FC-ROAD/drive"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """One expectation: a path in the judgement, what should stand there, and where the file says so."""

    path: tuple[str, ...]
    value: Any
    spot: Spot


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """A number that may differ by ``within``; a number as typed stands for itself as it was rounded."""

    value: float | None
    within: float

    def fits(self, found: float | None) -> bool:
        if self.value is None or found is None:
            return self.value is None and found is None
        # A little slack for the binary form of a decimal half.
        return abs(found - self.value) <= self.within + 1e-9


def near(node: Branch, faults: Faults, where: str) -> Near | None:
    """``719`` or ``18.92``: to half a unit of the last digit; ``none``: the number has no value."""
    typed = node.text if isinstance(node, Leaf) else ""
    found = _TYPED.fullmatch(typed)
    if typed == "none":
        return Near(value=None, within=0.0)
    if found is None:
        shape = typed or "a list or mapping"
        faults.add(
            node.spot, where, expected="a number such as 18.92, or none", found=shape, code="wrong_value"
        )
        return None
    return Near(value=float(typed), within=0.5 * float(f"1e-{len(found[1] or '')}"))


_NUMBER_FIELDS: Final[Mapping[str, Field]] = {
    "value": may(near), "within": may(number), "lower": may(near), "upper": may(near), "u": may(near),
    "guard": may(near), "p_in": may(near), "unit": may(text),
}  # fmt: skip


def _number(node: Branch, faults: Faults, where: str) -> dict[str, Any]:
    """One expected number: a value alone, or a mapping with what else is expected of it."""
    if not isinstance(node, Table):
        return {"value": near(node, faults, where)}
    read = read_table(node, _NUMBER_FIELDS, faults, where, partial=True)
    within = read.pop("within", None)
    value = read.get("value")
    if within is not None and value is not None:
        read["value"] = Near(value=value.value, within=within)
    return read


def _mapping(fields: Mapping[str, Field]) -> Any:
    return lambda node, faults, where: read_table(node, fields, faults, where, partial=True)


def _named(read: Any, fits: Any = None, expected: str = "a name") -> Any:
    def reader(node: Branch, faults: Faults, where: str) -> dict[str, Any]:
        if not isinstance(node, Table):
            faults.add(
                node.spot, where, expected="a mapping of names", found="something else", code="wrong_value"
            )
            return {}
        for name in node:
            if fits is not None and not fits(name):
                faults.add(node.spot_of(name), where, expected=expected, found=name, code="bad_name")
        return {name: read(inner, faults, f"{where}.{name}") for name, inner in node.entries.items()}

    return reader


def is_proof_name(name: str) -> bool:
    procedure, slash, proof = name.partition("/")
    return bool(procedure and slash and proof) and "/" not in proof


_PROOF: Final = checked(is_proof_name, _PROOF_NAME)
_PROOF_FIELDS: Final[Mapping[str, Field]] = {
    "verdict": may(word(VERDICTS)),
    "reasons": may(_REASONS),
    "also_reasons": may(_REASONS),
    "numbers": may(_named(_number)),
    "says": may(listing(text)),
    "says_not": may(listing(text)),
    "notes": may(listing(text)),
    "waived": may(yes_no),
    "counts": may(yes_no),
    "instruments": may(listing(text)),
    "edition": may(whole(1, 9999)),
    "settle": may(word(("now", "car_here", "desk", "never"))),
}
_PROOFS: Final = _named(_mapping(_PROOF_FIELDS), is_proof_name, _PROOF_NAME)
JOB_FIELDS: Final[Mapping[str, Field]] = {
    "verdict": may(word(VERDICTS)),
    "disposition": may(word(DISPOSITIONS)),
    "left_against_hold": may(yes_no),
    "state": may(text),
    "required": may(listing(text)),
    "not_required": may(listing(text)),
    "cannot_tell": may(listing(text)),
    "open": may(listing(_PROOF)),
    "met": may(listing(_PROOF)),
    "proofs": may(_PROOFS),
    "procedures": may(
        _named(
            _mapping(
                {
                    "verdict": may(word(VERDICTS)), "accepted": may(yes_no), "refused": may(yes_no),
                    "governing": may(text), "edition": may(whole(1, 9999)),
                    "state": may(word(("required", "not_required", "cannot_tell"))),
                }
            )
        )
    ),
    "attempts": may(
        _named(_mapping({"verdict": may(word(VERDICTS)), "governs": may(yes_no), "proofs": may(_PROOFS)}))
    ),
    "sign_offs": may(_named(_mapping({"fresh": may(yes_no)}))),
    "decisions": may(_named(_mapping({"effect": may(yes_no), "why_not": may(text)}))),
    "ready": may(when),
    "statement": may(listing(text)),
}  # fmt: skip


def read_job(node: Branch, faults: Faults, where: str) -> tuple[Expected, ...]:
    """All expectations of one job, each with its place in the file."""
    read = read_table(node, JOB_FIELDS, faults, where, partial=True)
    return tuple(_leaves(read, node, ()))


def _leaves(value: Any, node: Branch | None, path: tuple[str, ...]) -> list[Expected]:
    spot = node.spot if node is not None else Spot("", 0)
    if not isinstance(value, dict):
        return [Expected(path=path, value=value, spot=spot)]
    found: list[Expected] = []
    for key, inner in value.items():
        below = node.get(key) if isinstance(node, Table) else node
        found += _leaves(inner, below if below is not None else node, (*path, key))
    return found
