"""Surveys of one bay's floor, as the API lists them."""

from django.db.models import QuerySet

from jobs.access import Actor, surveys_for
from jobs.models import Bay, BayFloorSurvey


def list_surveys(actor: Actor, bay: Bay) -> QuerySet[BayFloorSurvey]:
    """Every survey of the bay, also those that hold no longer, in the order in which they came in."""
    return surveys_for(actor).filter(bay=bay)
