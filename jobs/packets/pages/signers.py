"""A reviewer's signature by who did the work is printed like any other, and said to be no review."""

from typing import Final

from jobs.packets.pages.context import PageContext
from rules.decisions import performers, same_person
from rules.facts import SignOff
from rules.sign_offs import last_sign_off

NO_REVIEW: Final = "by the person who did the work, so no review"


def reviews_own_work(context: PageContext, sign_off: SignOff) -> bool:
    """Whether a quality reviewer's signature is by who aimed, observed, or signed last as technician."""
    if sign_off.role != "quality_reviewer":
        return False
    governing = [
        context.sessions.get(result.governing_session or "") for result in context.assessment.procedures
    ]
    technician = last_sign_off(context.facts, "technician")
    workers = (*performers(governing), *((technician.person,) if technician else ()))
    return any(same_person(context.facts, sign_off.person, worker) for worker in workers)
