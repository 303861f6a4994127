"""any_of: a proof that may be shown in several ways, of which one must be met."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from rules.checks.base import CheckContext
from rules.verdict import MET, REASON_ORDER, Number, Outcome, Settle, any_of

# The easiest way to settle wins: one way is enough.
_EASIEST_FIRST: Final[tuple[Settle, ...]] = ("desk", "car_here", "now", "never")


def judge_alternatives(context: CheckContext, run: Callable[[CheckContext], Outcome]) -> Outcome:
    """Any way met gives met; else any not shown gives not shown; else not met.

    ``run`` judges one way. Met: the outcome of the first way that is met. Else reasons, numbers and words of
    every way; numbers bear the place of their way in front, ``way_2_counted_s``.
    """
    outcomes = [run(replace(context, proof=way)) for way in context.proof.alternatives]
    if not outcomes:
        raise ValueError("a proof with alternatives names no way")
    opening = f"One of {len(outcomes)} ways is enough."
    met = next((outcome for outcome in outcomes if outcome.verdict == MET), None)
    if met is not None:
        return replace(
            met, sentence=f"{opening} {met.sentence}", required=f"{opening} {met.required}".strip()
        )
    easiest = min(outcomes, key=lambda outcome: _EASIEST_FIRST.index(outcome.settle))
    return Outcome(
        verdict=any_of(outcome.verdict for outcome in outcomes),
        reasons=_reasons(outcomes),
        numbers=tuple(
            replace(number, name=f"way_{place}_{number.name}") for place, number in _numbers(outcomes)
        ),
        sentence=f"{opening} " + _each(outcomes, lambda outcome: outcome.sentence),
        change="One of these: " + _each(outcomes, lambda outcome: outcome.change),
        settle=easiest.settle,
        evidence=_once(outcomes, lambda outcome: outcome.evidence),
        instruments=_once(outcomes, lambda outcome: outcome.instruments),
        notes=_once(outcomes, lambda outcome: outcome.notes),
        required=f"{opening} " + _each(outcomes, lambda outcome: outcome.required),
        shows=_each(outcomes, lambda outcome: outcome.shows),
        why=_each(outcomes, lambda outcome: outcome.why),
    )


def _reasons(outcomes: list[Outcome]) -> tuple[str, ...]:
    """Those of the verdict's own strength first, then the others, each in print order."""
    verdict = any_of(outcome.verdict for outcome in outcomes)
    own = {code for outcome in outcomes if outcome.verdict == verdict for code in outcome.reasons}
    rest = {code for outcome in outcomes for code in outcome.reasons} - own
    return (*sorted(own, key=REASON_ORDER.__getitem__), *sorted(rest, key=REASON_ORDER.__getitem__))


def _numbers(outcomes: list[Outcome]) -> list[tuple[int, Number]]:
    return [(place, number) for place, outcome in enumerate(outcomes, 1) for number in outcome.numbers]


def _each(outcomes: list[Outcome], text: Callable[[Outcome], str]) -> str:
    said = [(place, text(outcome)) for place, outcome in enumerate(outcomes, 1)]
    return " ".join(f"Way {place}: {words}" for place, words in said if words)


def _once(outcomes: list[Outcome], items: Callable[[Outcome], tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item for outcome in outcomes for item in items(outcome)))
