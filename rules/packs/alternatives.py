"""Proofs with alternatives: several ways of which one must be met, and what may not stand among them."""

from typing import Final

from rules.packs.check_library import NEVER_WAIVABLE
from rules.packs.model import Proof
from rules.packs.tree import Section

# The name that a proof with alternatives bears in place of a check.
ANY_OF: Final = "any_of"
ALTERNATIVE_KEYS: Final = ("check", "cite", "fresh_for", "broken_by", "earlier_visit")
# These look at the whole job after everything else: they are no way of showing one thing.
WHOLE_JOB_CHECKS: Final = ("equipment_valid", "people_qualified", "in_order")


def check_alternatives(section: Section, ways: tuple[Proof, ...]) -> None:
    """Faults of the ways taken together.

    Codes: ``alternatives_form``; ``alternative_not_allowed``: the drive-away time of bonded glass is not
    shown by something else, and checks of the whole job stand alone.
    """
    if len(ways) < 2:
        section.fault("any_of", "alternatives_form", "any_of takes two or more ways, else it is no choice")
    for way in ways:
        if way.check in (*NEVER_WAIVABLE, *WHOLE_JOB_CHECKS):
            words = f"{section.where}: {way.check} cannot stand as one of several ways"
            section.faults.add(way.line, "alternative_not_allowed", words, found=way.check)
    said = [(way.check, tuple(way.arguments.items())) for way in ways]
    for place, way in enumerate(ways):
        if said[place] in said[:place]:
            words = f"{section.where}: the same way stands twice"
            section.faults.add(way.line, "alternatives_form", words)
