"""Checks on warning lamps and symbols: before and after a session, and at delivery."""

from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft
from rules.checks.event_times import repair_closed
from rules.checks.freshness import of_session, part_window, perhaps_of_session
from rules.checks.sentences import (
    begin,
    clock_text,
    names_argument,
    pairs_argument,
    plain,
    word_argument,
    words,
)
from rules.facts import LampRecord, Moment, live
from rules.fitment import fitted_state
from rules.science.clocks import happened_before, possibly_last
from rules.verdict import Outcome
from rules.vocabulary import LAMP_GROUPS, LAMP_SENSORS, LAMPS_THAT_ARE_NO_WARNING

_ANY: Final = "any"
_NOT_SEEN: Final = "not_seen"
_UNLIT: Final = "unlit"


def lamp_states(context: CheckContext) -> Outcome:
    """Lamps ``before`` and ``after`` a session part, or no lamp of the groups ``none_lit`` at delivery.

    Reasons: lamp_wrong, missing, order_unprovable.
    """
    if word_argument(context, "at") == "delivery":
        return _at_delivery(context)
    before, after = pairs_argument(context, "before"), pairs_argument(context, "after")
    draft = begin(context, _wanted(before, after))
    for lamp, state in before:
        _judge_lamp(draft, (lamp, state), *_before(context, lamp), "before the session")
    for lamp, state in after:
        _judge_lamp(draft, (lamp, state), *_after(context, lamp), "after the session")
    return draft.outcome()


def _wanted(before: tuple[tuple[str, str], ...], after: tuple[tuple[str, str], ...]) -> str:
    texts = [f"{plain(lamp)} before: {_plain_state(state)}" for lamp, state in before]
    texts += [f"{plain(lamp)} after: {_plain_state(state)}" for lamp, state in after]
    return "Lamps must be recorded: " + ", ".join(texts)


def _plain_state(state: str) -> str:
    return "in whatever state" if state == _ANY else plain(state)


def _at(record: LampRecord) -> Moment:
    return record.at


def _naming(context: CheckContext, lamp: str) -> list[LampRecord]:
    return [record for record in live(context.facts.lamp_records) if lamp in dict(record.states)]


Candidates = tuple[LampRecord | None, tuple[LampRecord, ...]]


def _before(context: CheckContext, lamp: str) -> Candidates:
    """The latest record of the lamp in this visit that is shown to precede the part, and all that may be."""
    window = part_window(context)
    if window is None:
        return None, ()
    naming = _naming(context, lamp)
    found = [item for item in naming if happened_before(item.at, window.start) == "true"]
    perhaps = [item for item in naming if happened_before(item.at, window.start) != "false"]
    return max(found, key=_order, default=None), possibly_last(perhaps, _at)


def _after(context: CheckContext, lamp: str) -> Candidates:
    """The latest record of the lamp that belongs to the session and was made after its part ended, and all
    that the clocks allow to be that one.

    In a proof of the road part, during or after the drive.
    """
    window = part_window(context)
    if window is None:
        return None, ()
    since = window.start if context.proof.part == "road" else window.end
    if since is None:
        return None, ()
    naming = _naming(context, lamp)
    own = of_session(context, naming, _sessions_of, _at)
    found = [item for item in own if happened_before(since, item.at) == "true"]
    perhaps = perhaps_of_session(context, naming, _sessions_of, _at)
    later = [item for item in perhaps if happened_before(since, item.at) != "false"]
    return max(found, key=_order, default=None), possibly_last(later, _at)


def _sessions_of(record: LampRecord) -> tuple[str, ...]:
    return () if record.session is None else (record.session,)


def _order(record: LampRecord) -> tuple[object, ...]:
    return (record.at.low, record.at.high, record.received_at, record.id)


def _judge_lamp(
    draft: Draft,
    asked: tuple[str, str],
    record: LampRecord | None,
    perhaps: tuple[LampRecord, ...],
    when: str,
) -> None:
    lamp, wanted = asked
    state = _NOT_SEEN if record is None else dict(record.states)[lamp]
    change = f"Record the {plain(lamp)} {when}."
    if record is None or state == _NOT_SEEN:
        draft.not_shown("missing", f"The {plain(lamp)} {when} is not on record.", change, "now")
        return
    draft.rests_on(record)
    if wanted != _ANY and {dict(item.states)[lamp] for item in perhaps} - {state}:
        draft.rests_on(*perhaps)
        draft.not_shown(
            "order_unprovable",
            f"Records of the {plain(lamp)} differ, and the clocks do not show which was the last {when}.",
            change,
            "now",
        )
    elif wanted in (_ANY, state):
        draft.say(f"The {plain(lamp)} {when} was {plain(state)}.")
    else:
        draft.not_met(
            "lamp_wrong",
            f"The {plain(lamp)} {when} was {plain(state)}.",
            "Find the cause, repeat the session, and record the lamp again.",
        )


# ------------------------------------------------------------------ at delivery


def _at_delivery(context: CheckContext) -> Outcome:
    groups = names_argument(context, "none_lit")
    draft = begin(context, f"At delivery no warning lamp may be lit: {words(groups)}")
    record = _delivery_record(draft, context, groups)
    if record is None:
        return draft.outcome()
    draft.rests_on(record)
    states = dict(record.states)
    for group in groups:
        _judge_group(draft, context, group, states)
    if not draft.tally.reasons:
        at = clock_text(context.facts.place, record.at)
        draft.say(f"The latest record after the work, {at}, names every group and none is lit.")
    return draft.outcome()


def _delivery_record(draft: Draft, context: CheckContext, groups: tuple[str, ...]) -> LampRecord | None:
    """The latest record of these groups, shown to lie after all work and not after delivery."""
    names = {*groups, *(lamp for group in groups for lamp in _warning_lamps(group))}
    records = [
        item
        for item in live(context.facts.lamp_records)
        if any(name in names for name, _ in item.states) and not _after_delivery(context, item)
    ]
    ends = _ends_of_work(context)
    if ends is None or not records:
        draft.not_shown("missing", "No lamps are on record after the work.", _RECORD_LAMPS)
        return None
    last = max(records, key=_order)
    perhaps = possibly_last(records, _at)
    truths = {happened_before(end, last.at) for end in ends}
    if "false" in truths:
        draft.not_shown("missing", "The last record of the lamps is older than the work.", _RECORD_LAMPS)
        return None
    if "unknown" in truths or not _shown_before_delivery(context, last):
        draft.not_shown(
            "order_unprovable",
            "The clocks do not show that the lamps were recorded after the work and not after delivery.",
            _RECORD_LAMPS,
        )
        return None
    if len({tuple(state for state in item.states if state[0] in names) for item in perhaps}) > 1:
        draft.rests_on(*perhaps)
        draft.not_shown(
            "order_unprovable",
            "Records of the lamps differ, and the clocks do not show which was the last.",
            _RECORD_LAMPS,
        )
        return None
    return last


_RECORD_LAMPS: Final = "Switch the ignition on and record all warning lamps."


def _ends_of_work(context: CheckContext) -> tuple[Moment, ...] | None:
    """Ends of the governing sessions and of the repair; None while one of them is still open."""
    ends: list[Moment] = []
    for item in context.required.values():
        if item.session is not None:
            if item.session.ended is None:
                return None
            ends.append(item.session.ended)
    closed = repair_closed(context)
    if closed is None:
        return None
    return (*ends, closed) if isinstance(closed, Moment) else tuple(ends)


def _after_delivery(context: CheckContext, record: LampRecord) -> bool:
    delivery = context.facts.delivery
    return delivery is not None and happened_before(record.at, delivery.at) == "false"


def _shown_before_delivery(context: CheckContext, record: LampRecord) -> bool:
    delivery = context.facts.delivery
    return delivery is None or happened_before(record.at, delivery.at) == "true"


def _warning_lamps(group: str) -> tuple[str, ...]:
    return tuple(lamp for lamp in LAMP_GROUPS.get(group, ()) if lamp not in LAMPS_THAT_ARE_NO_WARNING)


def _judge_group(draft: Draft, context: CheckContext, group: str, states: dict[str, str]) -> None:
    lamps = _warning_lamps(group)
    refused = tuple(lamp for lamp in lamps if LAMP_SENSORS.get(lamp) in context.refused_sensors)
    for lamp in refused:
        if states.get(lamp, _UNLIT) != _UNLIT:
            draft.note(
                f"The {plain(lamp)} is {plain(states[lamp])}; the owner refused the aiming of its sensor."
            )
    lit = [lamp for lamp in lamps if states.get(lamp) == "lit" and lamp not in refused]
    whole = states.get(group)
    if lit or (whole == "lit" and not refused):
        what = words(lit) if lit else f"{plain(group)} lamp"
        draft.not_met(
            "lamp_wrong",
            f"Lit: {what}.",
            "Find out why the lamp is lit, repair it, and record the lamps again.",
        )
        return
    open_lamps = _open_lamps(context, group, states, lamps, refused)
    if open_lamps:
        draft.not_shown("missing", f"Not recorded as unlit: {words(open_lamps)}.", _RECORD_LAMPS)


def _unclear(states: dict[str, str], lamps: tuple[str, ...], refused: tuple[str, ...]) -> tuple[str, ...]:
    """Lamps named one by one in a state that is neither lit nor unlit."""
    return tuple(lamp for lamp in lamps if lamp not in refused and states.get(lamp, _UNLIT) != _UNLIT)


def _open_lamps(
    context: CheckContext,
    group: str,
    states: dict[str, str],
    lamps: tuple[str, ...],
    refused: tuple[str, ...],
) -> tuple[str, ...]:
    """Lamps not recorded as unlit; of driver assistance those of sensors that are not known absent."""
    if states.get(group) == _UNLIT:
        return _unclear(states, lamps, refused)
    wanted = [lamp for lamp in lamps if lamp not in refused]
    if group == "driver_assistance":
        wanted = [lamp for lamp in wanted if fitted_state(context.facts, LAMP_SENSORS[lamp]) != "no"]
    elif not lamps:
        return (group,)
    return tuple(lamp for lamp in wanted if states.get(lamp) != _UNLIT)
