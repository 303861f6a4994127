"""Settings of bonded glass: which one governs a pane, and its ready time by the climate log."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.checks.movements import RoadMovement, movements_after, road_movements
from rules.facts import AdhesiveSheet, ClimateLog, GlassSet, JobFacts, Moment, live
from rules.rounding import to_six
from rules.science.adhesive import Cure, CureQuestion, find_ready
from rules.science.clocks import happened_before, shown_strictly_before
from rules.science.log_time import bounds_in_log

# Operations that bond a pane, by the name of the pane they have in common.
PANE_PREFIX: Final = "glass."
SINGLE_PANES: Final = frozenset({"windshield", "rear"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PaneCure:
    """One setting of one pane and its ready time.

    Attributes:
        setting: the glass set record.
        pane: ``windshield``, ``rear``, or the operation's id where a car has several such panes.
        sheet, log: data sheet and climate log, None where they are missing.
        problem: the reason code where nothing can be computed, else None.
        why: what the problem is, in plain words.
        cautious, hopeful: lowest readings minus and plus the guard.
        movements: road movements not shown to have begun before the setting, up to the gate instant.
    """

    setting: GlassSet
    pane: str
    sheet: AdhesiveSheet | None
    log: ClimateLog | None
    problem: str | None
    why: str
    cautious: Cure | None
    hopeful: Cure | None
    movements: tuple[RoadMovement, ...]

    @property
    def ready_cautious(self) -> Moment | None:
        return shifted(self.setting.set_at, self.cautious)

    @property
    def ready_hopeful(self) -> Moment | None:
        return shifted(self.setting.set_at, self.hopeful)


def shifted(set_at: Moment, cure: Cure | None) -> Moment | None:
    """Ready as an event on the clock of the setting; None where the table gives no value."""
    if cure is None or cure.after_s is None:
        return None
    later = timedelta(seconds=cure.after_s)
    return Moment(
        low=set_at.low + later,
        high=set_at.high + later,
        reading=set_at.reading + later,
        clock=set_at.clock,
        resolution_s=set_at.resolution_s,
    )


def pane_of(facts: JobFacts, setting: GlassSet) -> str:
    """``windshield`` for glass.windshield.replaced and .refitted: one pane, whatever was done.

    A car has several quarter panes, so there each operation is a pane of its own: a later setting of one
    never excuses a drive before another was ready.
    """
    operation = next((item for item in facts.operations if item.id == setting.operation_id), None)
    name = "" if operation is None else operation.operation
    middle = name.split(".")[1] if name.startswith(PANE_PREFIX) else ""
    return middle if middle in SINGLE_PANES else setting.operation_id


def governing_settings(facts: JobFacts) -> tuple[GlassSet, ...]:
    """The last setting of each pane; where the clocks leave open which was the last, all that may be."""
    settings = live(facts.glass_sets)
    return tuple(
        setting
        for setting in settings
        if not any(
            other is not setting
            and pane_of(facts, other) == pane_of(facts, setting)
            and _is_later(other, setting)
            for other in settings
        )
    )


def _is_later(other: GlassSet, setting: GlassSet) -> bool:
    return (
        happened_before(setting.set_at, other.set_at) == "true"
        and happened_before(other.set_at, setting.set_at) != "true"
    )


def pane_cures(facts: JobFacts, gate_at: datetime, z: float) -> tuple[PaneCure, ...]:
    """Every governing setting with its ready time by the readings held so far."""
    movements = road_movements(facts, gate_at)
    return tuple(cure_of(facts, setting, movements, z) for setting in governing_settings(facts))


def cure_of(facts: JobFacts, setting: GlassSet, movements: Sequence[RoadMovement], z: float) -> PaneCure:
    """The ready time of one setting; the readings end at the first road movement after it."""
    sheet, log = _sheet(facts, setting), _log(facts, setting)
    problem, why = _problem(setting, sheet, log)
    after = movements_after(movements, setting.set_at)
    cautious = hopeful = None
    if problem is None and sheet is not None and log is not None:
        cautious = _find(setting, (sheet, log), after, -z)
        hopeful = _find(setting, (sheet, log), after, z)
    return PaneCure(
        setting=setting,
        pane=pane_of(facts, setting),
        sheet=sheet,
        log=log,
        problem=problem,
        why=why,
        cautious=cautious,
        hopeful=hopeful,
        movements=after,
    )


def _find(
    setting: GlassSet, found: tuple[AdhesiveSheet, ClimateLog], after: Sequence[RoadMovement], factor: float
) -> Cure:
    """``factor`` -z: cautious (lowest readings minus the guard), +z: hopeful.

    Where the clocks leave the setting open on the log's time axis, the cautious answer counts readings from
    the earliest and minutes from the latest instant, the hopeful one the other way round.
    """
    sheet, log = found
    early, late = bounds_in_log(setting.set_at, log.clock)
    is_cautious = factor <= 0
    ends = [bounds_in_log(item.start, log.clock)[1] for item in after]
    temp_shift = to_six(factor * (log.u_temp or 0.0))
    return find_ready(
        log.samples,
        CureQuestion(
            cells=sheet.cells,
            counted_from_s=early if is_cautious else late,
            base_s=late if is_cautious else early,
            until_s=min(ends, default=None),
            temp_shift=temp_shift,
            rh_shift=to_six(factor * (log.u_rh or 0.0)),
            hot_shift=-temp_shift,
        ),
    )


def set_before_work(facts: JobFacts, setting: GlassSet) -> bool:
    """Is the setting shown to lie before the order was opened, or before its operation started?

    Both cannot be true, and an earlier time of setting gives an earlier ready time.
    """
    operation = next((item for item in facts.operations if item.id == setting.operation_id), None)
    starts = [facts.opened, None if operation is None else operation.started]
    return any(start is not None and shown_strictly_before(setting.set_at, start) for start in starts)


def _sheet(facts: JobFacts, setting: GlassSet) -> AdhesiveSheet | None:
    if setting.adhesive is None:
        return None
    product = setting.adhesive.product.strip().casefold()
    found = [sheet for sheet in facts.adhesive_sheets if sheet.product.strip().casefold() == product]
    return found[-1] if found else None


def _log(facts: JobFacts, setting: GlassSet) -> ClimateLog | None:
    return next((log for log in live(facts.climate_logs) if log.id == setting.climate_log_id), None)


def _problem(
    setting: GlassSet, sheet: AdhesiveSheet | None, log: ClimateLog | None
) -> tuple[str | None, str]:
    if setting.adhesive is None:
        return "missing", "the adhesive is not recorded"
    if sheet is None:
        return "missing", f"no data sheet of {setting.adhesive.product} is on file"
    if log is None or not log.samples:
        return "missing", "there is no climate log"
    return _log_problem(log)


def _log_problem(log: ClimateLog) -> tuple[str | None, str]:
    if not all(math.isfinite(number) for sample in log.samples for number in sample):
        return "unreadable", "the climate log holds values that are no numbers"
    if any(b[0] <= a[0] for a, b in zip(log.samples, log.samples[1:], strict=False)):
        return "time_order", "the times in the climate log do not run forward"
    if log.instrument is None or not (_is_uncertainty(log.u_temp) and _is_uncertainty(log.u_rh)):
        return "uncertainty_unknown", "the climate log names no logger, so its uncertainty is unknown"
    return None, ""


def _is_uncertainty(u: float | None) -> bool:
    return u is not None and 0 <= u < math.inf
