"""What in the texts of one job belongs to other orders of the same organisation: asked of the record."""

from collections.abc import Iterable
from typing import Final

from django.db.models import F, Value
from django.db.models.functions import Lower, Replace, Upper

from jobs.models import Job, RepairOrder
from jobs.packets.strangers import CUSTOMER, ORDER, SHORTEST_NAME, VEHICLE, fold, phrases

# So many candidates are asked for in one query.
AT_ONCE: Final = 400


def of_others(job: Job, texts: Iterable[str]) -> dict[str, str]:
    """Phrases of ``texts`` (folded) that are a name, contact, plate, claim or number of another order.

    The organisation's scope is open. What is also on this job's own order is not another's.
    """
    found = {phrase for text in texts for phrase in phrases(text)}
    candidates = sorted(phrase for phrase in found if len(phrase) >= SHORTEST_NAME)
    others: dict[str, str] = {}
    for start in range(0, len(candidates), AT_ONCE):
        some = tuple(candidates[start : start + AT_ONCE])
        others |= dict.fromkeys(_orders(job, "customer_name", some), CUSTOMER)
        others |= dict.fromkeys(_orders(job, "customer_contact", some), CUSTOMER)
        others |= dict.fromkeys(_orders(job, "claim_number", some), ORDER)
        others |= dict.fromkeys(_orders(job, "number", some), ORDER)
        others |= dict.fromkeys(_plates(job, some), VEHICLE)
    for own in own_texts(job):
        others.pop(own, None)
    return others


def own_texts(job: Job) -> set[str]:
    """What is on this job's own order, folded."""
    order = job.order
    own = (order.customer_name, order.customer_contact, order.claim_number, order.number, order.vehicle.plate)
    return {fold(text) for text in (*own, job.number) if text.strip()}


def _orders(job: Job, name: str, some: tuple[str, ...]) -> list[str]:
    rows = RepairOrder.objects.exclude(pk=job.order_id).annotate(folded=Lower(F(name)))
    return [fold(text) for text in rows.filter(folded__in=some).values_list("folded", flat=True).distinct()]


def _plates(job: Job, some: tuple[str, ...]) -> list[str]:
    """Plates are compared without blanks and dashes."""
    spelled = {phrase.upper().replace(" ", "").replace("-", ""): phrase for phrase in some}
    tight = Replace(Replace(Upper(F("vehicle__plate")), Value(" "), Value("")), Value("-"), Value(""))
    rows = RepairOrder.objects.exclude(vehicle=job.order.vehicle_id).annotate(tight=tight)
    return [
        spelled[text] for text in rows.filter(tight__in=spelled).values_list("tight", flat=True).distinct()
    ]
