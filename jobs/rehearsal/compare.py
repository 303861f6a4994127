"""Where a judgement is not what the scenario expects."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from jobs.rehearsal.expectation import Expected, Near
from jobs.rehearsal.faults import Spot, shortened
from jobs.rehearsal.script import Part
from jobs.rehearsal.times import When


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One expectation that does not hold, with its place in the file."""

    spot: Spot
    part: str
    job: str
    where: str
    expected: str
    found: str

    def as_json(self) -> dict[str, object]:
        return {
            "file": self.spot.file,
            "line": self.spot.line,
            "part": self.part,
            "job": self.job,
            "where": self.where,
            "expected": self.expected,
            "found": self.found,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """A report with what reading a time of it takes."""

    report: Mapping[str, Any]
    zone: ZoneInfo
    day: date


def differences_of(
    part: Part,
    job: str,
    expected: Iterable[Expected],
    report: Mapping[str, Any] | None,
    *,
    zone: ZoneInfo,
    day: date,
) -> list[Difference]:
    """Every expectation of one job at one part that the report does not fulfil."""
    found = []
    told = _Told(report=report or {"judged": False}, zone=zone, day=day)
    for item in expected:
        answer = _answer(item, told)
        if answer is not None:
            wanted, seen = answer
            found.append(
                Difference(
                    spot=item.spot,
                    part=part.name,
                    job=job,
                    where=".".join(item.path),
                    expected=shortened(wanted),
                    found=seen,
                )
            )
    return found


def _answer(item: Expected, told: _Told) -> tuple[str, str] | None:
    """None where it holds; else what was expected and what is there."""
    if not told.report.get("judged"):
        return "a judgement", "not judged yet: its order is not open at this part"
    head = item.path[0]
    judge = _WHOLE.get(head)
    if judge is not None and len(item.path) == 1:
        return judge(item.value, told)
    return _in_tree(item, told)


def _shown(value: Any) -> str:
    if isinstance(value, tuple | list):
        return ", ".join(str(item) for item in value) or "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Near):
        return "no value" if value.value is None else f"{value.value} within {value.within}"
    return str(value)


def _equal(wanted: Any, seen: Any) -> tuple[str, str] | None:
    return None if wanted == seen else (_shown(wanted), _shown(seen))


def _in_tree(item: Expected, told: _Told) -> tuple[str, str] | None:
    """An expectation inside proofs, procedures, attempts, sign-offs or decisions."""
    node: Any = told.report
    *path, last = item.path
    for place, key in enumerate(path):
        if not isinstance(node, Mapping) or key not in node:
            known = ", ".join(sorted(node)) if isinstance(node, Mapping) else "nothing"
            return f"{'.'.join(item.path[: place + 1])} to be there", f"there are: {shortened(known)}"
        node = node[key]
    return _leaf(last, item.value, node)


def _leaf(last: str, wanted: Any, node: Any) -> tuple[str, str] | None:
    if not isinstance(node, Mapping):
        return _equal(wanted, node)
    special = _SPECIAL.get(last)
    if special is not None:
        return special(wanted, node)
    if last not in node:
        return last, f"there are: {shortened(', '.join(sorted(node)))}"
    seen = node[last]
    if isinstance(wanted, Near):
        return None if wanted.fits(seen) else (_shown(wanted), _shown(seen))
    return _equal(wanted, seen)


def _same_reasons(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    return _equal(list(wanted), list(node["reasons"]))


def _among_reasons(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    return None if set(wanted) <= set(node["reasons"]) else (_shown(wanted), _shown(node["reasons"]))


def _says(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    text = " ".join([node["sentence"], node["change"], *node["notes"]])
    return next(((part, text) for part in wanted if part not in text), None)


def _says_not(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    text = " ".join([node["sentence"], node["change"], *node["notes"]])
    return next(((f"nothing of {part}", text) for part in wanted if part in text), None)


def _notes(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    text = " ".join(node["notes"])
    return next(((part, text) for part in wanted if part not in text), None)


def _instruments(wanted: Any, node: Mapping[str, Any]) -> tuple[str, str] | None:
    return _equal(sorted(wanted), sorted(node["instruments"]))


_SPECIAL: Final[Mapping[str, Callable[[Any, Mapping[str, Any]], tuple[str, str] | None]]] = {
    "reasons": _same_reasons,
    "also_reasons": _among_reasons,
    "says": _says,
    "says_not": _says_not,
    "notes": _notes,
    "instruments": _instruments,
}


# ------------------------------------------------------------------ expectations of the whole job


def _states(state: str) -> Callable[[Any, _Told], tuple[str, str] | None]:
    def judge(wanted: Any, told: _Told) -> tuple[str, str] | None:
        listed = told.report["requirements"].items()
        there = sorted(name for name, item in listed if item["state"] == state)
        return _equal(sorted(wanted), there)

    return judge


def _not_required(wanted: Any, told: _Told) -> tuple[str, str] | None:
    states = told.report["requirements"]
    wrong = [name for name in wanted if states.get(name, {}).get("state") != "not_required"]
    seen = ", ".join(f"{name}: {states.get(name, {}).get('state', 'not named')}" for name in wrong)
    return (", ".join(wrong), seen) if wrong else None


def _open(wanted: Any, told: _Told) -> tuple[str, str] | None:
    """Exactly these proofs are short of met, waived ones among them."""
    there = sorted(name for name, item in told.report["proofs"].items() if item["verdict"] != "met")
    return _equal(sorted(wanted), there)


def _met(wanted: Any, told: _Told) -> tuple[str, str] | None:
    proofs = told.report["proofs"]
    wrong = [name for name in wanted if proofs.get(name, {}).get("verdict") != "met"]
    seen = ", ".join(f"{name}: {proofs.get(name, {}).get('verdict', 'no such proof')}" for name in wrong)
    return (f"met: {', '.join(wrong)}", seen) if wrong else None


def _ready(wanted: When, told: _Told) -> tuple[str, str] | None:
    ready = told.report["ready"]
    text = ready["ready_cautious"] if ready is not None else None
    due = wanted.on(told.day, told.zone)
    if text is None:
        return due.isoformat(), "no time"
    seen = datetime.fromisoformat(text).astimezone(told.zone)
    # A clock that was compared is known to well below a second.
    return None if abs((seen - due).total_seconds()) < 1 else (due.isoformat(), seen.isoformat())


def _statement(wanted: Any, told: _Told) -> tuple[str, str] | None:
    text = told.report["statement"]
    return next(((part, text) for part in wanted if part not in text), None)


_WHOLE: Final[Mapping[str, Callable[[Any, _Told], tuple[str, str] | None]]] = {
    "required": _states("required"),
    "cannot_tell": _states("cannot_tell"),
    "not_required": _not_required,
    "open": _open,
    "met": _met,
    "ready": _ready,
    "statement": _statement,
    "verdict": lambda wanted, told: _equal(wanted, told.report["verdict"]),
    "disposition": lambda wanted, told: _equal(wanted, told.report["disposition"]),
    "left_against_hold": lambda wanted, told: _equal(wanted, told.report["left_against_hold"]),
    "state": lambda wanted, told: _equal(wanted, told.report["state"]),
}
