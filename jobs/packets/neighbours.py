"""What belongs to other orders of the same organisation: names, contacts, plates, claims and numbers."""

from collections.abc import Iterator
from typing import Final

from jobs.models import Job, RepairOrder
from jobs.packets.strangers import CUSTOMER, ORDER, SHORTEST_NAME, VEHICLE, compared, fold

# So many rows are fetched at once.
AT_ONCE: Final = 2000
# What is two things at once is told as the last of these.
_RANK: Final = {CUSTOMER: 0, ORDER: 1, VEHICLE: 2}
_COLUMNS: Final = (
    "vehicle__plate",
    "customer_name",
    "customer_contact",
    "claim_number",
    "number",
)


def of_others(job: Job) -> dict[str, str]:
    """Every name, contact, plate, claim or number of another order (folded) -> what it is.

    Read whole and compared by the program: what a database takes for the same letters differs from one to the
    next. The organisation's scope is open. What is also on this job's own order is not another's.
    """
    own = {compared(text) for text in own_texts(job)}
    found: dict[str, str] = {}
    for text, kind in _told(job):
        known = compared(text)
        if len(known) < SHORTEST_NAME or known in own:
            continue
        folded = fold(text)
        if _RANK[kind] >= _RANK[found.get(folded, CUSTOMER)]:
            found[folded] = kind
    return found


def own_texts(job: Job) -> set[str]:
    """What is on this job's own order, folded."""
    order = job.order
    own = (order.customer_name, order.customer_contact, order.claim_number, order.number, order.vehicle.plate)
    return {fold(text) for text in (*own, job.number) if text.strip()}


def _told(job: Job) -> Iterator[tuple[str, str]]:
    rows = RepairOrder.objects.exclude(pk=job.order_id).order_by("pk").values_list(*_COLUMNS)
    for plate, name, contact, claim, number in rows.iterator(AT_ONCE):
        yield from ((name, CUSTOMER), (contact, CUSTOMER), (claim, ORDER), (number, ORDER), (plate, VEHICLE))
