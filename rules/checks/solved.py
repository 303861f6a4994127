"""Deciding a proof from values already computed: what the examples inside packs are judged by."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from rules.checks.drive import CountedTime, needs_of, reason_of
from rules.conformity import decide_limit
from rules.packs.check_library import CHECKS, is_plain
from rules.packs.model import Proof
from rules.packs.signed import as_judged
from rules.quantities import Limit
from rules.verdict import MET, Reason, Tally, Verdict, any_of, not_met, not_shown

# The name under which an example gives the value of a check with a single limit.
VALUE: Final = "value"
PLACARD: Final = "placard"
U: Final = "u_"

Solved = Mapping[str, tuple[float, str]]


class NotDecidableError(ValueError):
    """The example cannot be carried out; the message tells its author what to mend."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """``parts``: the verdict of each limit by the name of its argument, in the order of the check."""

    verdict: Verdict
    reasons: tuple[str, ...]
    parts: Mapping[str, Verdict]


def decide_solved(proof: Proof, solved: Solved, z: float) -> Decided:
    """Each limit of the proof on its value, with ``u_<name>`` as its standard uncertainty (k = 1).

    Values are (value, unit) in the program's units. A missing value is not shown (missing), a missing u too
    (uncertainty_unknown), save where the check compares plainly.

    Raises:
        NotDecidableError: the check has no limit, a name is none of its limits, or a unit does not fit.
    """
    if proof.alternatives:
        return _any_way(proof, solved, z)
    limits = limits_of(proof)
    if not limits:
        raise NotDecidableError(
            f"{proof.check} has no limit that a value could be held against: take this example out"
        )
    _check_names(proof, solved, limits)
    tally = Tally()
    parts: dict[str, Verdict] = {}
    for name, limit in limits.items():
        reason = _reason(name, limit, proof, solved, z)
        parts[name] = MET if reason is None else reason.verdict
        if reason is not None:
            tally.add(reason)
    return Decided(verdict=tally.verdict, reasons=tally.codes, parts=parts)


def decide_counted(proof: Proof, counted: CountedTime) -> Decided:
    """A drive from its counted seconds, by the same rule as the check of a drive log.

    Raises:
        NotDecidableError: the proof is no drive_log.
    """
    if proof.alternatives:
        ways = [way for way in proof.alternatives if way.check == "drive_log"]
        if ways:
            return decide_counted(ways[0], counted)
    if proof.check != "drive_log":
        raise NotDecidableError(f"counted belongs to a drive_log; {proof.check} takes solved")
    typical = proof.arguments.get("time_is") == "indicative"
    reason = reason_of(needs_of(proof), counted, typical_only=typical)
    verdict: Verdict = MET if reason is None else reason.verdict
    return Decided(
        verdict=verdict, reasons=() if reason is None else (reason.code,), parts={"total_time": verdict}
    )


def limits_of(proof: Proof) -> dict[str, Limit]:
    """The limits of a proof by argument, in the order of its check; of a drive none: its time is counted."""
    if proof.check not in CHECKS or proof.check == "drive_log":
        return {}
    found = {}
    for name in CHECKS[proof.check].arguments:
        value = as_judged(proof, name, proof.arguments.get(name))
        if isinstance(value, Limit):
            found[name] = value
    return found


def _any_way(proof: Proof, solved: Solved, z: float) -> Decided:
    """Only ways whose values are given can be met here; the others are not shown."""
    decided = []
    taken: set[str] = set()
    for way in proof.alternatives:
        limits = limits_of(way)
        own = {name: value for name, value in solved.items() if _belongs(name, limits)}
        taken |= set(own)
        if limits:
            decided.append(decide_solved(way, own, z))
        else:
            decided.append(Decided(verdict="not_shown", reasons=("missing",), parts={}))
    for name in solved:
        if name not in taken:
            raise NotDecidableError(f'"{name}" is no value of any of these ways')
    verdict = any_of(one.verdict for one in decided)
    codes = [code for one in decided if one.verdict == verdict for code in one.reasons]
    parts = {name: part for one in decided for name, part in one.parts.items()}
    return Decided(verdict=verdict, reasons=tuple(dict.fromkeys(codes)), parts=parts)


def _check_names(proof: Proof, solved: Solved, limits: Mapping[str, Limit]) -> None:
    for name, (_value, unit) in solved.items():
        if not _belongs(name, limits):
            known = ", ".join(VALUE if key == "limit" else key for key in limits)
            raise NotDecidableError(f'"{name}" is no value of {proof.check} here; it takes {known}')
        limit = limits.get(_argument(name, limits))
        if limit is not None and unit != limit.unit:
            raise NotDecidableError(f'"{name}" is judged in {limit.unit}, not in {unit}')


def _belongs(name: str, limits: Mapping[str, Limit]) -> bool:
    if name == PLACARD:
        return any(limit.placard_half_width is not None for limit in limits.values())
    return _argument(name, limits) in limits


def _argument(name: str, limits: Mapping[str, Limit]) -> str:
    """The argument that a name of an example speaks of: ``value`` and ``u_value`` of the single limit."""
    base = name.removeprefix(U)
    return "limit" if base == VALUE and "limit" in limits else base


def _reason(name: str, limit: Limit, proof: Proof, solved: Solved, z: float) -> Reason | None:
    spoken = VALUE if name == "limit" and VALUE in solved else name
    value, u = solved.get(spoken), solved.get(U + spoken)
    filled = _filled(limit, solved.get(PLACARD))
    if value is None or filled is None:
        return not_shown("missing")
    known_u = u[0] if u is not None else (0.0 if is_plain(proof, name) else None)
    if known_u is not None and known_u < 0:
        raise NotDecidableError(f'"{U}{spoken}" cannot be negative')
    decision = decide_limit(value[0], known_u, filled, z)
    if decision.reason is None:
        return None
    return not_met(decision.reason) if decision.verdict == "not_met" else not_shown(decision.reason)


def _filled(limit: Limit, placard: tuple[float, str] | None) -> Limit | None:
    half = limit.placard_half_width
    if half is None:
        return limit
    if placard is None:
        return None
    return replace(limit, lower=placard[0] - half, upper=placard[0] + half, placard_half_width=None)
