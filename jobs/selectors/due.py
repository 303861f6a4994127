"""What falls due within so many days: instruments, people's qualifications, floor surveys."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from jobs.access import Actor, equipment_for
from jobs.models import Bay, BayFloorSurvey, Qualification, scope
from rules.science.months import add_months

DueKind = Literal["instrument", "qualification", "floor_survey"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One thing that is valid through ``due_on`` (a local day); ``days_left`` is negative once it is over."""

    kind: DueKind
    what: str
    who: str
    location: str
    due_on: date
    days_left: int


def due_within(actor: Actor, *, days: int, on: date) -> tuple[Due, ...]:
    """Everything of the actor's that runs out within ``days`` from the local day ``on``, the soonest first.

    What is over already is listed too: it still has to be done. Outsiders see nothing.
    """
    if actor.is_outsider:
        return ()
    until = on + timedelta(days=days)
    found = [*_instruments(actor, on, until), *_qualifications(actor, on, until), *_surveys(actor, on, until)]
    return tuple(sorted(found, key=lambda due: (due.due_on, due.kind, due.what, due.who)))


def _instruments(actor: Actor, on: date, until: date) -> list[Due]:
    rows = equipment_for(actor).filter(due_on__lte=until, needs_certificate=True).exclude(state="retired")
    found = []
    for row in rows:
        if row.due_on is not None:
            home = row.home_location.code if row.home_location is not None else ""
            found.append(_due("instrument", row.tag, row.cls, home, row.due_on, on))
    return found


def _qualifications(actor: Actor, on: date, until: date) -> list[Due]:
    """The last of each kind of each person counts: an older one that ran out is no longer needed."""
    with scope(actor.organisation_id):
        rows = list(
            Qualification.objects.filter(
                ended_at__isnull=True, revoked_on__isnull=True, person__is_active=True
            )
            .select_related("person")
            .prefetch_related("person__locations")
            .order_by("issued_on", "pk")
        )
    last: dict[tuple[str, str], Qualification] = {}
    for row in rows:
        kept = last.get((row.person.login, row.kind))
        if kept is None or _runs_longer(row, kept):
            last[row.person.login, row.kind] = row
    found = []
    for row in last.values():
        places = {location.pk: location.code for location in row.person.locations.all()}
        visible = actor.location_ids is None or bool(actor.location_ids & places.keys())
        if visible and row.expires_on is not None and row.expires_on <= until:
            codes = ", ".join(sorted(places.values()))
            found.append(_due("qualification", row.kind, row.person.name, codes, row.expires_on, on))
    return found


def _runs_longer(row: Qualification, kept: Qualification) -> bool:
    if row.expires_on is None or kept.expires_on is None:
        return row.expires_on is None
    return row.expires_on >= kept.expires_on


def _surveys(actor: Actor, on: date, until: date) -> list[Due]:
    """The last survey of each bay that was not made void."""
    with scope(actor.organisation_id):
        bays = Bay.objects.select_related("location")
        if actor.location_ids is not None:
            bays = bays.filter(location_id__in=actor.location_ids)
        rows = BayFloorSurvey.objects.filter(bay__in=bays, ended_at__isnull=True, voided_at__isnull=True)
        last: dict[object, BayFloorSurvey] = {}
        for row in rows.select_related("bay__location"):
            kept = last.get(row.bay_id)
            if kept is None or row.surveyed.reading >= kept.surveyed.reading:
                last[row.bay_id] = row
    found = []
    for row in last.values():
        due_on = add_months(row.surveyed.reading.date(), row.valid_months)
        if due_on <= until:
            found.append(_due("floor_survey", row.bay.code, "", row.bay.location.code, due_on, on))
    return found


def _due(kind: DueKind, what: str, who: str, location: str, due_on: date, on: date) -> Due:
    return Due(kind=kind, what=what, who=who, location=location, due_on=due_on, days_left=(due_on - on).days)
