"""Readings of one quantity at several numbered points of a proof: film build, light."""

import re

from rules.checks.base import CheckContext
from rules.facts import live


def numbers_asked(context: CheckContext, quantity: str, least: int) -> tuple[int, ...]:
    """1 to ``least``, and every further number on record: whoever reads more points leaves none out."""
    pattern = re.compile(rf"{re.escape(context.proof.id)}_0*([1-9][0-9]{{0,3}})")
    found = (
        pattern.fullmatch(item.place) for item in live(context.facts.readings) if item.quantity == quantity
    )
    extra = {int(match[1]) for match in found if match is not None}
    return (*range(1, least + 1), *sorted(number for number in extra if number > least))
