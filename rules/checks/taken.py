"""Which reading a check takes: the one that serves the session part, or one of the session's own."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.draft import Draft
from rules.checks.freshness import anything, of_session, part_window, perhaps_of_session, serving
from rules.checks.sentences import plain
from rules.checks.stale_words import why_stale
from rules.facts import Moment, Reading, live
from rules.packs.model import Proof
from rules.science.clocks import happened_before, possibly_last, shown_strictly_before
from rules.verdict import Truth

# Shown while or right after the session runs: they belong to one session part and serve no other.
OWN_QUANTITIES: Final = frozenset(
    {"seam_step", "parking_reading", "learned_yaw", "learned_pitch", "learned_roll"}
)
# The angle straight ahead is the session's own as well; a steering angle elsewhere is a reading of the visit.
_OWN_PLACES: Final[Mapping[str, str]] = {"steering_angle": "straight_ahead"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A reading to look for. ``words`` name it in a sentence: ``arch height front left``.

    ``own_procedure``: its place is only the proof's id, so that a reading may mean another procedure's proof
    of the same name. ``own_bay``: it counts for the bay it was read in. ``not_of_others``: one that names
    another procedure is not known to be about this one.
    """

    quantity: str
    places: tuple[str, ...]
    words: str
    own_procedure: bool = False
    own_bay: bool = False
    not_of_others: bool = False


def wanted(quantity: str, place: str) -> Wanted:
    """A reading of a quantity at a place that means the same in every procedure."""
    return Wanted(quantity=quantity, places=(place,), words=f"{plain(quantity)} {plain(place)}".strip())


def is_own(quantity: str, places: Iterable[str]) -> bool:
    """Is a reading of this kind one of the session's own?"""
    return quantity in OWN_QUANTITIES or _OWN_PLACES.get(quantity) in tuple(places)


def take(context: CheckContext, draft: Draft, asked: Wanted) -> Reading | None:
    """The reading that counts, noted with its instrument; None with the reason told where there is none.

    Of several the last one counts, of sets read at one time the highest number. Two different values of one
    set, read at one time, contradict each other. Reason codes: missing, evidence_stale, conflict.
    """
    readings = candidates(context, asked)
    if asked.own_bay and readings and all(item.bay is None for item in readings):
        draft.rests_on(*readings)
        _unclear(draft, asked)
        return None
    if is_own(asked.quantity, asked.places):
        found = _of_session(context, draft, asked, readings)
    else:
        found = _of_visit(context, draft, asked, readings)
    if found is None:
        return None
    draft.rests_on(found)
    draft.uses([found.instrument])
    unclear = [item for item in readings if _may_take_its_place(context, asked, item, found)]
    if unclear:
        draft.rests_on(*unclear)
        _unclear(draft, asked)
        return None
    others = [item for item in readings if item.id != found.id and _same_set(item, found)]
    rivals = [item for item in others if item.value != found.value]
    if rivals:
        draft.rests_on(*rivals)
        draft.not_shown(
            "conflict",
            f"The {asked.words} is on record with two values for one set at one time: "
            f"{found.typed_value} and {rivals[0].typed_value} {found.typed_unit}.",
            f"Read the {asked.words} again.",
            "now",
        )
        return None
    return found


def candidates(context: CheckContext, asked: Wanted) -> tuple[Reading, ...]:
    """Live readings of that quantity and place that may mean this proof, by set number."""
    found = [
        item
        for item in live(context.facts.readings)
        if item.quantity == asked.quantity
        and item.place in asked.places
        and _belongs(context, asked, item) != "false"
    ]
    return tuple(sorted(found, key=lambda item: item.set_no))


def _belongs(context: CheckContext, asked: Wanted, reading: Reading) -> Truth:
    """Is the reading shown to be about this procedure, and about the bay of its session?"""
    if asked.own_procedure:
        return _means_this_procedure(context, reading)
    if asked.not_of_others:
        return _may_be_of_another(context, asked, reading)
    if not asked.own_bay:
        return "true"
    session = context.session
    if session is None or session.bay is None or reading.bay is None:
        return "unknown"
    return "true" if reading.bay == session.bay else "false"


def _may_be_of_another(context: CheckContext, asked: Wanted, reading: Reading) -> Truth:
    """A reading may name no procedure, or this one; one of another that asks for the same is its own."""
    if reading.procedure_id in (None, context.procedure.id):
        return "true"
    other = context.required.get(reading.procedure_id or "")
    if other is None:
        return "unknown"
    proofs = with_alternatives(other.procedure.proofs)
    asks = any(
        asked.quantity == proof.arguments.get("of") and not set(asked.places).isdisjoint(_places_of(proof))
        for proof in proofs
    )
    return "false" if asks else "unknown"


def _places_of(proof: Proof) -> tuple[str, ...]:
    """The places that a proof of one quantity names, or its id."""
    found: list[str] = []
    for name in ("place", "each_of"):
        argument = proof.arguments.get(name, ())
        found += [argument] if isinstance(argument, str) else [str(item) for item in _as_tuple(argument)]
    return tuple(found) or (proof.id,)


def _as_tuple(argument: object) -> tuple[object, ...]:
    return argument if isinstance(argument, tuple) else ()


def _may_take_its_place(context: CheckContext, asked: Wanted, item: Reading, found: Reading) -> bool:
    """May a reading that does not say what it is about be the one that counts instead?"""
    if _belongs(context, asked, item) != "unknown":
        return False
    window = part_window(context)
    is_earlier = item.id != found.id and happened_before(item.at, found.at) == "true"
    is_later = window is not None and happened_before(item.at, window.start) == "false"
    return not is_earlier and not is_later


def _unclear(draft: Draft, asked: Wanted) -> None:
    what = "bay" if asked.own_bay else "procedure"
    names = f"does not name this {what}" if asked.not_of_others else f"names no {what}"
    draft.not_shown(
        "missing",
        f"A reading of the {asked.words} {names}, so it is not known what it is about.",
        f"Read the {asked.words} again and name the {what}.",
        "now",
    )


def _same_set(one: Reading, other: Reading) -> bool:
    return (one.at, one.set_no) == (other.at, other.set_no)


# ------------------------------------------------------------------ readings of the visit


def _of_visit(
    context: CheckContext, draft: Draft, asked: Wanted, readings: tuple[Reading, ...]
) -> Reading | None:
    found, reason = serving(context, readings, _moment, anything)
    if found is None:
        stale = reason is not None and reason.code == "evidence_stale"
        sentence = (
            f"No reading of the {asked.words} serves this session. {why_stale(context, readings, _moment)}"
            if stale
            else f"There is no reading of the {asked.words}."
        )
        draft.not_shown("evidence_stale" if stale else "missing", sentence, f"Read the {asked.words}.", "now")
    return found


def _moment(reading: Reading) -> Moment:
    return reading.at


# ------------------------------------------------------------------ the session's own


def _of_session(
    context: CheckContext, draft: Draft, asked: Wanted, readings: tuple[Reading, ...]
) -> Reading | None:
    own = of_session(context, readings, _sessions_of, _moment)
    if not own:
        draft.not_shown(
            "missing",
            f"This session has no reading of the {asked.words}.",
            f"Record the {asked.words} of the session.",
            "now",
        )
        return None
    # Readings that only the clocks keep out of the session may not be passed over: they may be the last.
    perhaps = possibly_last(perhaps_of_session(context, readings, _sessions_of, _moment), _moment)
    last = [item for item in perhaps if not any(_next_set(item, other) for other in perhaps)]
    shown = [item for item in last if item in own]
    if not shown or len({item.value for item in last}) > 1:
        draft.rests_on(*own, *last)
        draft.not_shown(
            "conflict",
            f"The clocks leave open which reading of the {asked.words} is the last of this session.",
            f"Record the {asked.words} once more.",
            "now",
        )
        return None
    return max(shown, key=lambda item: item.id)


def _next_set(one: Reading, other: Reading) -> bool:
    return other.at == one.at and other.set_no > one.set_no


def _sessions_of(reading: Reading) -> tuple[str, ...]:
    return () if reading.session is None else (reading.session,)


# ------------------------------------------------------------------ which procedure a reading means


def _means_this_procedure(context: CheckContext, reading: Reading) -> Truth:
    """A reading at a place named after the proof: by the procedure it names, by its session, else by time.

    Where it names neither and another required procedure has a proof of that name, it means the procedure
    whose session is the first to start after it.
    """
    here = context.procedure.id
    if reading.procedure_id is not None:
        return "true" if reading.procedure_id == here else "false"
    if reading.session is not None:
        sessions = {item.id: item.procedure_id for item in context.facts.sessions}
        return "true" if sessions.get(reading.session) == here else "false"
    others = [item.procedure.id for item in context.required.values() if _has_like(item, context.proof)]
    if all(item == here for item in others):
        return "true"
    return _first_after(context, reading, others)


def _has_like(required: RequiredProcedure, proof: Proof) -> bool:
    return any(
        (item.id, item.check) == (proof.id, proof.check)
        for item in with_alternatives(required.procedure.proofs)
    )


def with_alternatives(proofs: Iterable[Proof]) -> Iterator[Proof]:
    """Every proof, and the ways of those that may be shown in several."""
    for proof in proofs:
        yield proof
        yield from proof.alternatives


def _first_after(context: CheckContext, reading: Reading, procedures: list[str]) -> Truth:
    """Is the first session to start after the reading shown to be one of this procedure?"""
    sessions = [item for item in live(context.facts.sessions) if item.procedure_id in procedures]
    perhaps = [item for item in sessions if happened_before(reading.at, item.started) != "false"]
    firsts = [
        item
        for item in perhaps
        if not any(
            happened_before(reading.at, other.started) == "true"
            and shown_strictly_before(other.started, item.started)
            for other in perhaps
        )
    ]
    meant = {item.procedure_id for item in firsts}
    if context.procedure.id not in meant:
        return "false"
    return "true" if len(meant) == 1 else "unknown"
