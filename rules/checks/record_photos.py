"""Photos that a proof rests on through its records: their faults are reasons of that proof too."""

from dataclasses import replace
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.photos import photo_faults, setting_of
from rules.facts import live
from rules.verdict import BY_CASE_REASONS, NOT_MET, NOT_MET_REASONS, NOT_SHOWN, Outcome, Reason, Tally

# These weigh several photos against each other themselves, or look at what other proofs rest on.
_WEIGHS_ITSELF: Final = ("identity_agrees", "photo_set", "equipment_valid", "people_qualified")


def with_photo_faults(context: CheckContext, outcome: Outcome) -> Outcome:
    """The outcome with the faults of every photo that its records name as evidence.

    A photo that was set aside counts for no proof, and so against none. Reasons: those of ``photo_faults``.
    """
    if context.proof.check in _WEIGHS_ITSELF:
        return outcome
    named = frozenset(outcome.evidence)
    photos = [photo for photo in live(context.facts.photos) if photo.id in named]
    if not photos:
        return outcome
    setting = setting_of(context)
    faults = [
        (photo.number, fault)
        for photo in photos
        for fault in photo_faults(setting, photo)
        if fault.reason.code not in outcome.reasons
    ]
    if not faults:
        return outcome
    tally = Tally(reasons=[*_reasons_of(outcome), *(fault.reason for _, fault in faults)])
    told = dict.fromkeys(f"Evidence {number}: {fault.text}" for number, fault in faults)
    changes = dict.fromkeys(fault.change for _, fault in faults if fault.change not in outcome.change)
    return replace(
        outcome,
        verdict=tally.verdict,
        reasons=tally.codes,
        sentence=" ".join((outcome.sentence, *told)),
        shows=" ".join(text for text in (outcome.shows, *told) if text),
        change=" ".join(text for text in (outcome.change, *changes) if text),
    )


def _reasons_of(outcome: Outcome) -> list[Reason]:
    """The reasons of an outcome with their strength: those of the verdict's own strength come first."""
    found: list[Reason] = []
    for code in outcome.reasons:
        weaker = bool(found) and found[-1].verdict != outcome.verdict
        own = code in NOT_MET_REASONS or (code in BY_CASE_REASONS and outcome.verdict == NOT_MET)
        found.append(Reason(code=code, verdict=NOT_MET if own and not weaker else NOT_SHOWN))
    return found
