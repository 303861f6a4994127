"""The owner's sheet: one page in plain words of what was done, what is open, and what to mind."""

from typing import Any, Final

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.open_points import open_points
from jobs.packets.pages.words import counted, joined, plain, sentence_case
from rules.explain import VERDICT_WORDS, readable
from rules.facts import live
from rules.result import Requirement

WORDS: Final = {
    "met": "The record shows that what was asked for was done, and within its limits.",
    "not_met": "The record shows that something asked for was not done, or lies outside its limits.",
    "not_shown": "The record does not show it: something is missing, or cannot be told apart. "
    "That is no mild form of met.",
}
WHOLE: Final = {
    "met": "Everything that had to be shown for this repair is shown.",
    "not_met": "Something that had to be done for this repair was not done, or lies outside its limits.",
    "not_shown": "Something that had to be shown for this repair is not shown.",
}
MIND: Final = (
    "Systems may not react or may react wrongly, whatever this sheet says. You drive; watch the road.",
    "Never test emergency braking or steering against people or vehicles.",
    "If a warning lamp comes on, or a system behaves in another way than before, have it looked at.",
    "New glass, tires, springs, a bumper or another wheel alignment may call for aiming again.",
)
MOST_POINTS: Final = 9


def owner_sheet(context: PageContext) -> dict[str, Any]:
    """Everything on the owner's sheet as plain data."""
    needed = [item for item in context.assessment.requirements if item.state != "not_required"]
    points = open_points(context, short=True)
    vehicle = context.facts.vehicle
    effective = {item.decision_id for item in context.assessment.decisions if item.effect}
    return {
        "car": f"{vehicle.make} {vehicle.model} {vehicle.model_year}, {vehicle.vin}",
        "whole": WHOLE[context.assessment.verdict],
        "verdict": context.assessment.verdict,
        "word": VERDICT_WORDS[context.assessment.verdict],
        "rows": [_row(context, item) for item in needed],
        "points": [
            f"{point.kind.replace('_', ' ')}: {point.head}. {point.text}" for point in points[:MOST_POINTS]
        ],
        "more": counted(len(points) - MOST_POINTS, "point is", "points are")
        if len(points) > MOST_POINTS
        else "",
        "refused": [_refused(item) for item in live(context.facts.refusals) if item.id in effective],
        "adhesive": _adhesive(context),
        "codes": _codes(context),
        "mind": MIND,
        "left": _left(context),
    }


def _row(context: PageContext, item: Requirement) -> dict[str, str]:
    result = context.results.get(item.procedure_id)
    verdict = "not_shown" if result is None else result.verdict
    return {
        "title": item.title,
        "verdict": verdict,
        "word": VERDICT_WORDS[verdict],
        "text": WORDS[verdict],
        "decision": "You, or someone for you, refused it." if result is not None and result.refused else "",
    }


def _refused(item: Any) -> str:
    systems = joined([plain(name) for name in item.systems_named])
    return (
        f"{item.refused_by_name} ({plain(item.relation)}) refused {item.procedure_id}. Systems "
        "that may not work or "
        f"may work wrongly because of it: {systems or 'none was named'}."
    )


def _adhesive(context: PageContext) -> str:
    ready = context.assessment.ready
    if ready is None:
        return ""
    if ready.ready_cautious is None:
        return "Glass was bonded in. No time can be given from which the adhesive was ready: ask the shop."
    return (
        "Glass was bonded in. By the readings on record its adhesive was ready for the road from "
        f"{times.instant(context.place, ready.ready_cautious)}."
    )


def _codes(context: PageContext) -> list[str]:
    """Codes that are no matter of this work but should not be forgotten."""
    marked = "a line on the owner's sheet"
    return [
        sentence_case(readable(note.split(":")[0])) + ": there before and still there; not of this work."
        for finding in context.assessment.findings
        for note in finding.outcome.notes
        if marked in note
    ]


def _left(context: PageContext) -> str:
    if not context.assessment.left_against_hold:
        return ""
    return "The car left although the record had not released it (left against hold)."
