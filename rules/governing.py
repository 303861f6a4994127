"""Which attempt at a procedure governs: the last that began after the work that calls for it had ended."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rules.facts import JobFacts, Moment, OperationDone, Session, SessionPart, live, once
from rules.science.clocks import both, happened_before
from rules.verdict import Truth

TWO_PARTS = "static_then_dynamic"


@dataclass(frozen=True, slots=True, kw_only=True)
class Governing:
    """The governing session, None where there is none.

    ``order_open``: the clocks leave open whether it began after the work, or whether it is the last.
    """

    session: Session | None
    order_open: bool = False


@once
def attempts(facts: JobFacts, procedure_id: str) -> tuple[Session, ...]:
    """All live sessions of the procedure, by start."""
    found = [item for item in live(facts.sessions) if item.procedure_id == procedure_id]
    return tuple(sorted(found, key=_by_start))


def governing_session(
    facts: JobFacts, procedure_id: str, kind: str, calling: Iterable[OperationDone]
) -> Governing:
    """The governing session of a procedure.

    Args:
        facts: the snapshot as held at the gate instant.
        procedure_id: the procedure.
        kind: its kind; static_then_dynamic takes the last attempt at each part, still before road.
        calling: the operations that call for it; none, where only a code calls for it: any session.
    """
    ends = [item.done for item in calling]
    found = attempts(facts, procedure_id)
    if kind == TWO_PARTS and any(item.parts for item in found):
        return _two_parts(found, ends)
    eligible = [(item, _began_after(item.started, ends)) for item in found]
    eligible = [(item, truth) for item, truth in eligible if truth != "false"]
    if not eligible:
        return Governing(session=None)
    last, truth = eligible[-1]
    is_open = truth != "true" or not _is_last(last.started, [item.started for item, _ in eligible[:-1]])
    return Governing(session=last, order_open=is_open)


def _by_start(item: Session) -> tuple[object, ...]:
    return (item.started.low, item.started.high, item.attempt, item.id)


def _began_after(started: Moment, ends: Iterable[Moment | None]) -> Truth:
    """Is the start shown to lie at or after every end? An operation without an end leaves it open."""
    return both("true", *("unknown" if end is None else happened_before(end, started) for end in ends))


def _is_last(started: Moment, others: Iterable[Moment]) -> bool:
    return all(happened_before(other, started) == "true" for other in others)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    session: Session
    part: SessionPart
    truth: Truth


def _two_parts(found: tuple[Session, ...], ends: list[Moment | None]) -> Governing:
    parts = [
        _Part(session=item, part=part, truth=_began_after(part.started, ends))
        for item in found
        for part in item.parts
    ]
    parts = [item for item in parts if item.truth != "false"]
    still, still_open = _last_part([item for item in parts if item.part.part == "still"])
    roads = [item for item in parts if item.part.part == "road"]
    if still is not None:
        roads = [item for item in roads if happened_before(still.part.started, item.part.started) != "false"]
    road, road_open = _last_part(roads)
    chosen = [item for item in (still, road) if item is not None]
    partless = _later_without_parts(found, ends, chosen)
    if partless is not None:
        return Governing(session=partless, order_open=True)
    if not chosen:
        return Governing(session=None)
    is_open = still_open or road_open or any(item.truth != "true" for item in chosen)
    return Governing(session=_joined(chosen), order_open=is_open)


def _later_without_parts(
    found: tuple[Session, ...], ends: list[Moment | None], chosen: list[_Part]
) -> Session | None:
    """The last attempt that names no part and is not shown to have begun before the parts chosen.

    Nobody can say which part it repeated: it governs, and no earlier attempt hides it.
    """
    open_ones = [
        item
        for item in found
        if not item.parts
        and _began_after(item.started, ends) != "false"
        and all(happened_before(item.started, part.part.started) != "true" for part in chosen)
    ]
    return open_ones[-1] if open_ones else None


def _last_part(parts: list[_Part]) -> tuple[_Part | None, bool]:
    """The last attempt at a part, and whether the clocks leave open that it is the last."""
    if not parts:
        return None, False
    ordered = sorted(
        parts, key=lambda item: (item.part.started.low, item.part.started.high, item.session.attempt)
    )
    last = ordered[-1]
    return last, not _is_last(last.part.started, [item.part.started for item in ordered[:-1]])


def _joined(chosen: list[_Part]) -> Session:
    """One session of the chosen parts: the later attempt, which reuses the other's part by reference."""
    base = max((item.session for item in chosen), key=_by_start)
    others = [item.session.id for item in chosen if item.session.id != base.id]
    return replace(
        base,
        started=chosen[0].part.started,
        ended=chosen[-1].part.ended,
        parts=tuple(item.part for item in chosen),
        reuses_part_of=others[0] if others else None,
    )
