"""How long this shop's own drives take: trip time over counted time of the drives on record."""

import math
from typing import Any, Final

from django.db.models import F

from jobs.models import FindingRow, Location

# So many of the newest drives are looked at (project default).
LATEST_DRIVES: Final = 20
# Shorter ones are drives that were broken off (project default), seconds.
SHORTEST_COUNTED_S: Final = 60.0
_COUNTED: Final = "counted_s"
_UNCOUNTED: Final = "uncounted_"
# Positions before and after the session are no part of its trip.
_NOT_DRIVEN: Final = "uncounted_outside_s"


def own_ratios(location: Location) -> list[float]:
    """Trip time over counted time of the location's newest judged drives, smallest first.

    The organisation's scope must be open. Each job counts with its current judgement only; 863 s of trip with
    596 s counted are 1.448.
    """
    rows = (
        FindingRow.objects.filter(
            job__location=location,
            check_name="drive_log",
            verdict__in=("met", "not_met"),
            assessment_id=F("job__current_assessment_id"),
        )
        .order_by("-computed_at", "-pk")
        .values_list("numbers", flat=True)[:LATEST_DRIVES]
    )
    found = (_ratio(numbers) for numbers in rows)
    return sorted(ratio for ratio in found if ratio is not None)


def middle(ratios: list[float]) -> float | None:
    """The median of sorted values, of two middle ones the longer; None of none."""
    return ratios[len(ratios) // 2] if ratios else None


def _ratio(numbers: list[dict[str, Any]]) -> float | None:
    values = {str(item.get("name")): item.get("value") for item in numbers}
    counted = values.get(_COUNTED)
    if not isinstance(counted, int | float) or counted < SHORTEST_COUNTED_S:
        return None
    uncounted = [
        float(value)
        for name, value in values.items()
        if name.startswith(_UNCOUNTED) and name != _NOT_DRIVEN and isinstance(value, int | float)
    ]
    return (counted + math.fsum(uncounted)) / counted
