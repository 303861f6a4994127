"""Surveys of bay floors: heights as read with a level, and that a floor is no longer as it was surveyed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict
from jobs.facts.uncertainty import Budgets, Typed
from jobs.models import Bay, BayFloorSurvey, Equipment, Job, Session
from jobs.services import assessment_queue, moments, recording, references, values
from jobs.services.equipment import DESK_ROLES, keep
from jobs.services.values import refused
from rules import quantities
from rules.quantities import QuantityError
from rules.rounding import to_six
from rules.science.floor import LEAST_POINTS, floor_of, positions
from rules.science.plane import Point, on_one_line

SURVEY_ROLES: Final = (*DESK_ROLES, "technician")
MOST_POINTS: Final = 200
MOST_MONTHS: Final = 120
# A bay is no longer than this, and no floor is higher (project default).
FARTHEST_MM: Final = 200_000.0
HIGHEST_MM: Final = 5_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PointEntry:
    """One point as typed: ``x`` along the bay, ``y`` to the left, ``z`` up from any level."""

    x: str
    y: str
    z: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyEntry:
    """A survey; ``instrument`` is a tag. ``xy_unit`` and ``z_unit`` hold for all points."""

    id: UUID
    surveyed_at: str
    instrument: str
    points: tuple[PointEntry, ...]
    xy_unit: str = "mm"
    z_unit: str = "mm"
    grid_note: str = ""
    valid_months: int = 12
    device: UUID | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class VoidEntry:
    """``changed_at``: from when on the floor is no longer as surveyed; empty for now."""

    reason: str
    changed_at: str = ""


@transaction.atomic
def record_survey(*, bay: Bay, actor: Actor, as_of: datetime, entry: SurveyEntry) -> BayFloorSurvey:
    """Keeps a survey with the uncertainty of its method, and what follows from it.

    Without a method budget for floor heights the survey is kept, and nothing can be shown with it.
    Codes: role_missing, too_few_points, points_on_one_line, too_many, bad_number, unit_unknown,
    unit_mismatch, out_of_range, unknown_reference, text_length, and those of moments.
    """
    recording.require_role(actor, *SURVEY_ROLES)
    instrument = references.instrument(entry.instrument, "instrument")
    if instrument is None:
        raise refused("unknown_reference", "instrument", "Name the instrument that read the heights.")
    if not 1 <= entry.valid_months <= MOST_MONTHS:
        raise refused("bad_number", "valid_months", f"valid_months lies between 1 and {MOST_MONTHS}.")
    points, step = _points(entry)
    _check_bay(bay, points)
    u_z = _u_z(instrument, points, step, as_of)
    device = references.device(actor, entry.device, "device")
    survey = BayFloorSurvey(
        id=entry.id,
        bay=bay,
        surveyed=moments.read_moment(entry.surveyed_at, field="surveyed_at", device=device, as_of=as_of),
        surveyed_by=actor.person,
        instrument=instrument,
        points=[list(point) for point in points],
        u_z_mm=u_z,
        grid_note=values.read_text(entry.grid_note, "grid_note", shortest=0),
        computed=_computed(points, u_z),
        valid_months=entry.valid_months,
    )
    kept = keep(survey, actor=actor, as_of=as_of)
    if kept is survey:
        _judge_those_there(bay, actor=actor, as_of=as_of)
        _log(actor, as_of, "floor.surveyed", survey, {"sha256": survey.content_sha256})
    return kept


@transaction.atomic
def void_survey(*, survey: BayFloorSurvey, actor: Actor, as_of: datetime, entry: VoidEntry) -> BayFloorSurvey:
    """Tells that the floor is no longer as surveyed, from some instant on (a lift was set, a drain cut).

    Repeating the same words changes nothing. Codes: role_missing, text_length, bad_instant,
    instant_in_future, times_backwards, already_voided.
    """
    recording.require_role(actor, *recording.FLOOR_ROLES)
    reason = values.read_text(entry.reason, "reason", shortest=3)
    changed_at = values.read_instant(entry.changed_at, "changed_at") if entry.changed_at else as_of
    if changed_at > as_of:
        raise refused("instant_in_future", "changed_at", "changed_at lies in the future.")
    if changed_at < survey.surveyed.low:
        raise refused("times_backwards", "changed_at", "The floor was surveyed after that.")
    rows = BayFloorSurvey.objects.filter(pk=survey.pk, voided_at__isnull=True, ended_at__isnull=True)
    if rows.update(voided_at=changed_at, void_reason=reason, void_recorded_at=as_of) != 1:
        return _voided_before(survey, reason, entry)
    survey.refresh_from_db()
    _judge_those_there(survey.bay, actor=actor, as_of=as_of)
    detail = {"changed_at": changed_at.isoformat(), "reason": reason}
    _log(actor, as_of, "floor.survey_voided", survey, detail)
    return survey


def _voided_before(survey: BayFloorSurvey, reason: str, entry: VoidEntry) -> BayFloorSurvey:
    survey.refresh_from_db()
    at = values.read_instant(entry.changed_at, "changed_at") if entry.changed_at else survey.voided_at
    if survey.voided_at is None or survey.void_reason != reason or survey.voided_at != at:
        raise Conflict("already_voided", "This survey was made void before, or counts no longer.")
    return survey


def _log(actor: Actor, as_of: datetime, what: str, survey: BayFloorSurvey, detail: dict[str, Any]) -> None:
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what=what,
        target=f"bay/{survey.bay.code}",
        detail={"survey": str(survey.pk), **detail},
    )


def _judge_those_there(bay: Bay, *, actor: Actor, as_of: datetime) -> None:
    """What became known of a floor may change the verdict of every job that had a session on it."""
    there = Session.objects.filter(bay=bay).values("job_id")
    for job in Job.objects.filter(pk__in=there).exclude(state="archived"):
        assessment_queue.judge_soon(job=job, actor=actor, as_of=as_of)


# ------------------------------------------------------------------ points


def _points(entry: SurveyEntry) -> tuple[tuple[Point, ...], float]:
    """All points in mm, and the coarsest step of their heights as typed, in mm."""
    if len(entry.points) > MOST_POINTS:
        raise refused("too_many", "points", f"A survey has at most {MOST_POINTS} points.")
    found: list[Point] = []
    steps = [0.0]
    for index, point in enumerate(entry.points):
        where = f"points[{index}]"
        x, _ = _length(point.x, entry.xy_unit, f"{where}.x", "xy_unit")
        y, _ = _length(point.y, entry.xy_unit, f"{where}.y", "xy_unit")
        z, step = _length(point.z, entry.z_unit, f"{where}.z", "z_unit")
        if max(abs(x), abs(y)) > FARTHEST_MM or abs(z) > HIGHEST_MM:
            raise refused("out_of_range", where, f"{where} lies far outside any bay.")
        found.append((x, y, z))
        steps.append(step)
    if positions(found) < LEAST_POINTS:
        raise refused("too_few_points", "points", f"A survey needs at least {LEAST_POINTS} different places.")
    if on_one_line([(x, y) for x, y, _ in found]):
        raise refused("points_on_one_line", "points", "All points lie on one line: spread them over the bay.")
    return tuple(found), max(steps)


def _check_bay(bay: Bay, points: Sequence[Point]) -> None:
    """Points spread wider than the bay were typed in another unit: its slope would come out too small."""
    spans = [max(point[axis] for point in points) - min(point[axis] for point in points) for axis in (0, 1)]
    sizes = (float(bay.length_mm), float(bay.width_mm))
    for axis, span, size in zip("xy", spans, sizes, strict=True):
        if span > size:
            raise refused(
                "out_of_range",
                "points",
                f"The points span {span:g} mm in {axis}; bay {bay.code} has {size:g} mm.",
            )


def _length(text: str, unit: str, field: str, unit_field: str) -> tuple[float, float]:
    value, step = values.read_number(text, field)
    try:
        converted, program_unit = quantities.to_program_unit(value, unit)
        resolution, _ = quantities.difference_to_program_unit(step, unit)
    except QuantityError as error:
        raise refused(error.code, unit_field, str(error)) from error
    if program_unit != "mm":
        raise refused("unit_mismatch", unit_field, f"{unit} is no length.")
    return converted, resolution


def _u_z(instrument: Equipment, points: Sequence[Point], step: float, as_of: datetime) -> float:
    """By the method budget of floor heights; 0 where there is none."""
    heights = [z for _, _, z in points]
    typed = Typed(value=max(heights) - min(heights), resolution=step)
    u, _ = Budgets.on_file(as_of.date()).of("floor_z", instrument.cls, typed)
    return 0.0 if u is None else u


def _computed(points: Sequence[Point], u_z: float) -> dict[str, Any]:
    """What lists show of a survey; verdicts are computed anew from the points."""
    floor = floor_of(points, u_z)
    return {
        "slope_deg": to_six(floor.slope_deg),
        "u_slope_deg": to_six(floor.u_slope_deg),
        "uphill_deg": None if floor.uphill_deg is None else to_six(floor.uphill_deg),
        "flatness_mm": to_six(floor.flatness_mm),
        "u_flatness_mm": to_six(floor.u_flatness_mm),
        "residual_sd_mm": to_six(floor.residual_sd_mm),
        "plane": [to_six(floor.plane.a), to_six(1000 * floor.plane.b), to_six(1000 * floor.plane.c)],
        "residuals_mm": [to_six(value) for value in floor.plane.residuals],
        "standing_out": list(floor.standing_out),
    }
