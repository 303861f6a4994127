"""adhesive_ready and batch_in_date: bonded glass must be ready before the car is driven; no batch expired."""

from datetime import datetime, timedelta
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.curing import (
    PaneCure,
    cure_of,
    governing_settings,
    pane_cures,
    set_before_work,
)
from rules.checks.draft import Draft, listed, plain
from rules.checks.movements import RoadMovement, road_movements
from rules.checks.sentences import begin
from rules.facts import Batch, GlassSet, JobFacts, Moment, OperationDone, Place, live
from rules.packs.model import Condition
from rules.result import ReadyTime
from rules.rounding import to_six
from rules.science.clocks import happened_before, shown_strictly_before
from rules.verdict import MET, Number, Outcome

_HOW_TO_FILE: Final = {
    "the adhesive is not recorded": "Record which adhesive was used.",
    "there is no climate log": "File the climate log from the setting on.",
    "the climate log names no logger, so its uncertainty is unknown": "Name the logger that made the log.",
}
_NOT_YET: Final = "That time has not come yet."
_WAIT: Final = "Wait until the ready time; do not drive the car before."


# ------------------------------------------------------------------ ready times for screens and events


def ready_times(facts: JobFacts, gate_at: datetime, z: float) -> ReadyTime | None:
    """Ready times by the readings so far, the latest of several panes; None without bonded glass on record.

    ``ready_cautious`` and ``ready_hopeful`` count from the latest possible setting; both are None where one
    pane has no value or cannot be computed.
    """
    cures = pane_cures(facts, gate_at, z)
    if not cures:
        return None
    open_ones = [cure for cure in cures if cure.ready_cautious is None]
    shown = open_ones[0] if open_ones else max(cures, key=_ready_high)
    cautious = None if open_ones else shown.ready_cautious
    hopeful = [cure.ready_hopeful for cure in cures]
    known = [moment.high for moment in hopeful if moment is not None]
    passed = all(_has_passed(cure, gate_at) and not set_before_work(facts, cure.setting) for cure in cures)
    return ReadyTime(
        ready_cautious=None if cautious is None else cautious.high,
        ready_hopeful=max(known) if len(known) == len(cures) else None,
        set_at=shown.setting.set_at.high,
        minutes=None if shown.cautious is None else shown.cautious.minutes,
        sentence=_ready_sentence(facts, shown),
        passed=passed,
    )


def _ready_high(cure: PaneCure) -> datetime:
    moment = cure.ready_cautious
    return cure.setting.set_at.high if moment is None else moment.high


def _has_passed(cure: PaneCure, gate_at: datetime) -> bool:
    ready = cure.ready_cautious
    return ready is not None and cure.cautious is not None and cure.cautious.covered and ready.high <= gate_at


def _ready_sentence(facts: JobFacts, cure: PaneCure) -> str:
    ready = cure.ready_cautious
    if cure.cautious is None:
        return f"No ready time can be given: {cure.why}."
    if ready is None:
        return f"No ready time can be given: {_climate(cure)}, and the data sheet has no value for that."
    return (
        f"Ready not before {clock_minute(facts.place, ready.high)}: set "
        f"{clock_minute(facts.place, cure.setting.set_at.high)}, {_climate(cure)}, "
        f"{cure.cautious.minutes} min by the data sheet."
    )


def clock_minute(place: Place, at: datetime) -> str:
    """Local time to the minute, with its date, a begun minute counted in full.

    Parts of a second are the width of a clock comparison, not a begun minute: 10:10:00.02 reads 10:10.
    """
    local = place.local(at + timedelta(milliseconds=500)).replace(microsecond=0)
    if local.second:
        local = local.replace(second=0, microsecond=0) + timedelta(minutes=1)
    return local.strftime("%H:%M on %Y-%m-%d")


def _climate(cure: PaneCure) -> str:
    cautious = cure.cautious
    if cautious is None or cautious.lowest_temp is None or cautious.lowest_rh is None:
        return "the climate log has no reading after the setting"
    return (
        f"lowest {plain(cautious.lowest_temp)} degC and {plain(cautious.lowest_rh)} % humidity, with guard "
        f"{plain(cautious.guarded_temp or 0.0, 2)} degC and {plain(cautious.guarded_rh or 0.0, 2)} %"
    )


# ------------------------------------------------------------------ adhesive_ready


def adhesive_ready(context: CheckContext) -> Outcome:
    """No road movement before the adhesive is ready, by the coldest and driest reading minus the guard.

    Ready stands on the clock of the setting. Never waivable. Reason codes: missing, unreadable, conflict,
    uncertainty_unknown, time_order, adhesive_early, adhesive_no_value, undecided.
    """
    draft = begin(context, "The car must not be driven on the road before the adhesive is ready")
    _settings_present(context, draft)
    for cure in pane_cures(context.facts, context.gate_at, context.z):
        draft.rests_on(cure.setting)
        if cure.log is not None:
            draft.rests_on(cure.log)
            draft.uses([cure.log.instrument])
        _numbers(draft, cure, context.z)
        _judge(context, draft, cure)
        if set_before_work(context.facts, cure.setting):
            draft.not_shown(
                "conflict",
                "The glass is recorded as set before the work on it can have begun.",
                "Correct the time of the setting, or that of the work.",
                "desk",
            )
    _earlier_settings(context, draft)
    return draft.outcome()


def _settings_present(context: CheckContext, draft: Draft) -> None:
    """Every operation that calls for this proof needs its setting on record."""
    names = bonding_names(context)
    sets = live(context.facts.glass_sets)
    without = [
        item
        for item in live(context.facts.operations)
        if item.operation in names and not any(entry.operation_id == item.id for entry in sets)
    ]
    if without or not sets:
        what = listed(_operation_words(item) for item in without) or "the bonded glass"
        draft.not_shown(
            "missing",
            f"No setting is recorded for {what}: when, by whom, with which adhesive, in what climate.",
            "Record the setting of the glass.",
            "desk",
        )


def _operation_words(operation: OperationDone) -> str:
    return operation.operation.replace(".", " ")


def bonding_names(context: CheckContext) -> frozenset[str]:
    """The operation names in the triggers that call for the current procedure."""
    triggers = context.current.edition.triggers
    return frozenset(
        name
        for trigger in triggers
        if context.procedure.id in trigger.procedures
        for name in _operation_names(trigger.when)
    )


def _operation_names(condition: Condition) -> tuple[str, ...]:
    own = condition.names if condition.kind == "operation" else ()
    return own + tuple(name for part in condition.parts for name in _operation_names(part))


def _numbers(draft: Draft, cure: PaneCure, z: float) -> None:
    cautious, log = cure.cautious, cure.log
    if cautious is None or log is None:
        return
    for name, value, unit, u in (
        ("lowest_temp", cautious.lowest_temp, "degC", log.u_temp),
        ("lowest_rh", cautious.lowest_rh, "percent", log.u_rh),
    ):
        guard = None if u is None else to_six(z * u)
        raw = None if value is None else to_six(value)
        draft.numbers.append(Number(name=name, value=raw, unit=unit, u=u, guard=guard))
    draft.number("guarded_temp", cautious.guarded_temp, "degC")
    draft.number("guarded_rh", cautious.guarded_rh, "percent")
    draft.number("minutes", cautious.minutes, "min")
    hopeful = None if cure.hopeful is None else cure.hopeful.minutes
    draft.number("minutes_hopeful", hopeful, "min")


def _judge(context: CheckContext, draft: Draft, cure: PaneCure) -> None:
    if cure.problem is not None or cure.cautious is None or cure.hopeful is None:
        draft.not_shown(
            cure.problem or "missing",
            f"No ready time of the adhesive can be shown: {cure.why}.",
            _HOW_TO_FILE.get(cure.why, "Record the adhesive with its data sheet, and file the climate log."),
            "desk",
        )
        return
    if cure.cautious.lowest_temp is None:
        draft.not_shown(
            "missing",
            "The climate log has no reading between the setting and the first movement.",
            "File the climate log from the setting on.",
            "desk",
        )
        return
    early = [item for item in cure.movements if _is_early(cure, item)]
    for item in early:
        draft.rests_on_id(item.record_id)
    if cure.ready_cautious is None:
        _no_value(context, draft, cure, early)
    elif early:
        _too_early(context, draft, cure, early[0])
    else:
        _by_time(context, draft, cure)


def _is_early(cure: PaneCure, movement: RoadMovement) -> bool:
    """Shown to have begun after the setting and before the hopeful ready time."""
    ready = cure.ready_hopeful
    return (
        ready is not None
        and happened_before(cure.setting.set_at, movement.start) == "true"
        and shown_strictly_before(movement.start, ready)
    )


def _too_early(context: CheckContext, draft: Draft, cure: PaneCure, movement: RoadMovement) -> None:
    draft.not_met(
        "adhesive_early",
        f"{_start(movement)} {_when(context, movement.start)}, before the adhesive was ready. "
        f"{_ready_sentence(context.facts, cure)}",
        "The adhesive maker says how to judge the bond; otherwise the glass is set anew.",
        "never",
    )


def _no_value(context: CheckContext, draft: Draft, cure: PaneCure, early: list[RoadMovement]) -> None:
    if cure.ready_hopeful is not None and early:
        _too_early(context, draft, cure, early[0])
        return
    driven = [item for item in cure.movements if happened_before(cure.setting.set_at, item.start) == "true"]
    sentence = _ready_sentence(context.facts, cure)
    change = "Ask the adhesive maker; a ready time cannot be computed for this climate."
    if cure.ready_hopeful is None and driven:
        draft.rests_on_id(driven[0].record_id)
        draft.not_met(
            "adhesive_no_value",
            f"{sentence} {_start(driven[0])} {_when(context, driven[0].start)}.",
            change,
            "never",
        )
    else:
        draft.not_shown("adhesive_no_value", sentence, change)


def _by_time(context: CheckContext, draft: Draft, cure: PaneCure) -> None:
    ready = cure.ready_cautious
    if ready is None or cure.cautious is None:
        return
    sentence = _ready_sentence(context.facts, cure)
    if not cure.movements and ready.high > context.gate_at:
        draft.not_shown("missing", sentence, _WAIT, why=_NOT_YET)
    elif not cure.cautious.covered:
        draft.not_shown(
            "missing",
            "The climate log does not cover the time from the setting until ready, or until the car moved, "
            f"with a reading at least every 15 minutes. {sentence}",
            "File the missing part of the climate log.",
            "desk",
        )
    else:
        _after_ready(context, draft, cure, ready)


def _after_ready(context: CheckContext, draft: Draft, cure: PaneCure, ready: Moment) -> None:
    sentence = _ready_sentence(context.facts, cure)
    open_ones = [item for item in cure.movements if happened_before(ready, item.start) != "true"]
    for item in open_ones or cure.movements[:1]:
        draft.rests_on_id(item.record_id)
    if open_ones:
        first = open_ones[0]
        draft.not_shown(
            "undecided",
            f"{sentence} {_start(first)} {_when(context, first.start)}: before or after cannot be shown.",
            "A better time of the movement, or of the setting, may settle it.",
            "desk",
        )
    elif cure.movements:
        first = cure.movements[0]
        draft.say(f"{sentence} {_start(first)} {_when(context, first.start)}.")
    else:
        draft.say(f"{sentence} The car has not moved on the road.")


def _start(movement: RoadMovement) -> str:
    return movement.what[0].upper() + movement.what[1:]


def _when(context: CheckContext, moment: Moment) -> str:
    place = context.facts.place
    low, high = (place.local(at).strftime("%H:%M on %Y-%m-%d") for at in (moment.low, moment.high))
    return f"at {low}" if low == high else f"between {low} and {high}"


def _earlier_settings(context: CheckContext, draft: Draft) -> None:
    """A drive before an earlier setting's ready time stays printed, although the last setting governs."""
    governing = {item.id for item in governing_settings(context.facts)}
    movements = road_movements(context.facts, context.gate_at)
    for setting in live(context.facts.glass_sets):
        if setting.id in governing:
            continue
        cure = cure_of(context.facts, setting, movements, context.z)
        if any(_is_early(cure, item) for item in cure.movements):
            draft.note(
                "The car was driven before the glass set "
                f"{clock_minute(context.facts.place, setting.set_at.high)} was ready; it was set again later."
            )


# ------------------------------------------------------------------ batch_in_date


def batch_in_date(context: CheckContext) -> Outcome:
    """Argument ``items``: adhesive, primer. No batch may have expired before the local date of setting.

    Reason codes: missing, adhesive_expired, undecided.
    """
    draft = begin(context, "No batch may have expired before the glass was set")
    named = context.proof.arguments.get("items", ("adhesive", "primer"))
    items = named if isinstance(named, tuple) else (str(named),)
    _settings_present(context, draft)
    for setting in governing_settings(context.facts):
        draft.rests_on(setting)
        for item in items:
            batch = setting.adhesive if item == "adhesive" else setting.primer
            _judge_batch(context, draft, setting, (str(item), batch))
    if draft.tally.verdict == MET:
        draft.say(" ".join(_batches(context, items)))
    return draft.outcome()


def _batches(context: CheckContext, items: tuple[object, ...]) -> list[str]:
    """Each batch with its last day, and the day of setting."""
    told = []
    for setting in governing_settings(context.facts):
        day = context.facts.place.local_date(setting.set_at.high).isoformat()
        for item in items:
            batch = setting.adhesive if item == "adhesive" else setting.primer
            if batch is not None and batch.expires_on is not None:
                name = str(item).capitalize()
                told.append(
                    f"{name} batch {batch.batch} expires on {batch.expires_on.isoformat()}; set on {day}."
                )
    return told


def _judge_batch(
    context: CheckContext, draft: Draft, setting: GlassSet, item: tuple[str, Batch | None]
) -> None:
    name, batch = item
    if batch is None or batch.expires_on is None or not batch.batch.strip():
        draft.not_shown(
            "missing",
            f"Batch number and expiry date of the {name} are not recorded.",
            f"Record batch number and expiry date of the {name}.",
            "desk",
        )
        return
    first = context.facts.place.local_date(setting.set_at.low)
    last = context.facts.place.local_date(setting.set_at.high)
    text = f"{name.capitalize()} batch {batch.batch} expires on {batch.expires_on.isoformat()}"
    if batch.expires_on < first:
        draft.not_met(
            "adhesive_expired",
            f"{text}, before the day of setting, {first.isoformat()}.",
            "The glass must be set anew with material that is in date.",
            "never",
        )
    elif batch.expires_on < last:
        draft.not_shown(
            "undecided",
            f"{text}; whether the glass was set before midnight is not known.",
            "A better time of the setting may settle it.",
            "desk",
        )
