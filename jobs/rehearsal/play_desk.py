"""Playing what happens to bays: floors surveyed, and floors that are no longer as they were."""

from django.db.models import Model

from jobs.errors import Refused
from jobs.rehearsal.stage import Call
from jobs.services import references
from jobs.services.floor_survey import PointEntry, SurveyEntry, VoidEntry, record_survey, void_survey


def play_survey(call: Call) -> Model:
    body = call.body
    bay = references.bay(body["bay"], "bay")
    if bay is None:
        raise Refused("unknown_reference", f"There is no bay {body['bay']}.")
    entry = SurveyEntry(
        id=call.id(),
        surveyed_at=call.claim(),
        instrument=body["instrument"],
        points=tuple(_point(typed) for typed in body["points"]),
        xy_unit=body["unit"],
        z_unit=body["unit"],
        grid_note=body["grid_note"],
        valid_months=body["valid_months"],
        device=call.device.pk,
    )
    return record_survey(bay=bay, actor=call.actor, as_of=call.as_of, entry=entry)


def _point(typed: str) -> PointEntry:
    """``-2800 1200 1.4``: along the bay, to the left, up."""
    parts = typed.split()
    if len(parts) != 3:
        raise Refused("survey_point", f"{typed!r} is no point such as -2800 1200 1.4.")
    return PointEntry(x=parts[0], y=parts[1], z=parts[2])


def play_voided_survey(call: Call) -> Model:
    entry = VoidEntry(reason=call.body["reason"], changed_at=call.at.isoformat())
    survey = call.row("surveys", call.body["survey"])
    return void_survey(survey=survey, actor=call.actor, as_of=call.as_of, entry=entry)
