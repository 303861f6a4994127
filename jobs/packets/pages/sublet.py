"""Chapter 10: work given to another business, the way there and back, and what that business gave."""

from typing import Any

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.grounds import ending
from jobs.packets.pages.words import counted, joined, plain
from rules.explain import VERDICT_WORDS
from rules.facts import SubletTrip

CARRIED = {
    "driven": "driven on the road",
    "trailer": "carried on a trailer or truck",
    "done_here": "not moved: the other business came here",
}


def sublet_view(context: PageContext) -> list[dict[str, Any]]:
    """Each hand-over with its procedures and the sessions on record for them."""
    return [_trip(context, trip) for trip in context.facts.sublet_trips]


def _trip(context: PageContext, trip: SubletTrip) -> dict[str, Any]:
    sessions = [s for s in context.facts.sessions if s.procedure_id in trip.procedure_ids]
    evidence = [n for item in (trip.id, *trip.evidence) if (n := context.names.evidence_number(item))]
    return {
        "to": trip.to_org,
        "how": CARRIED.get(trip.carried_how, plain(trip.carried_how)),
        "out": times.bracket(context.place, trip.out_at) if trip.out_at else "not recorded",
        "back": times.bracket(context.place, trip.back_at) if trip.back_at else "not recorded",
        "evidence": joined(list(dict.fromkeys(evidence))) or "no file is filed with the hand-over",
        "ended": ending(context, trip),
        "procedures": [_procedure(context, name) for name in trip.procedure_ids],
        "sessions": [
            {
                "what": f"{session.procedure_id}, attempt {session.attempt}",
                "when": times.bracket(session.place, session.started),
                "who": context.name(session.performed_by),
                "device": session.device or "no device named",
                "files": joined(_files(context, session.evidence)) or "none",
            }
            for session in sessions
        ],
        "count": counted(len(sessions), "session is", "sessions are"),
    }


def _files(context: PageContext, ids: tuple[str, ...]) -> list[str]:
    return [number for item in ids if (number := context.names.evidence_number(item))]


def _procedure(context: PageContext, procedure_id: str) -> dict[str, str]:
    result = context.results.get(procedure_id)
    findings = [f for f in context.assessment.findings if f.procedure_id == procedure_id]
    open_ones = [f for f in findings if f.verdict != "met"]
    return {
        "id": procedure_id,
        "title": result.title if result else "",
        "verdict": result.verdict if result else "not_shown",
        "word": VERDICT_WORDS[result.verdict] if result else "not judged",
        "count": f"{len(findings) - len(open_ones)} of {len(findings)} proofs met" if findings else "",
    }
