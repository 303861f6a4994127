"""Instruments as the API lists them, and those that fall due."""

from datetime import date

from django.db.models import QuerySet

from jobs.access import Actor, equipment_for
from jobs.models import Equipment


def list_equipment(actor: Actor, *, cls: str | None = None) -> QuerySet[Equipment]:
    """Instruments and tools of the actor's locations."""
    rows = equipment_for(actor)
    return rows if cls is None else rows.filter(cls=cls)


def list_due(actor: Actor, *, until: date) -> QuerySet[Equipment]:
    """Instruments in use whose calibration is due on or before ``until``, overdue ones among them."""
    return equipment_for(actor).filter(due_on__isnull=False, due_on__lte=until).exclude(state="retired")
