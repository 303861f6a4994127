"""Calendar arithmetic in whole months: clipped to the end of the month, never carried into the next."""

from calendar import monthrange
from datetime import date


def add_months(start: date, months: int) -> date:
    """``start`` plus calendar months; a day that the month lacks becomes its last (31 Aug + 6 = 28 Feb)."""
    count = start.year * 12 + start.month - 1 + months
    year, month = divmod(count, 12)
    return date(year, month + 1, min(start.day, monthrange(year, month + 1)[1]))
