"""Deciding with uncertainty, worked out for every number of a proof that has a limit."""

from jobs.packets.pages.numbers import bar_of
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import fig
from rules.display import bound_text, decimals_of, number_name, place_of, unit_text, with_unit
from rules.explain import VERDICT_WORDS
from rules.verdict import Number

GUARDED = (
    "decision with uncertainty (JCGM 106:2012, guarded acceptance, 95 % one-sided): g = z u with z = {z}; "
    "met: L + g ≤ y ≤ U − g; not met: y < L − g or y > U + g; otherwise not shown"
)
PLAIN = "compared plainly, limits included: counts, or values that the vehicle itself shows (u = 0)"


def decided(paper: Paper) -> list[dict[str, object]]:
    """One row a number with a limit: y, u, g, the ends of the accept zone, the word, the drawing."""
    return [_row(number) for number in paper.finding.outcome.numbers if place_of(number) is not None]


def rules_of(paper: Paper) -> tuple[str, ...]:
    """The decision rules that the numbers of this proof need."""
    judged = [number for number in paper.finding.outcome.numbers if place_of(number) is not None]
    guarded = [number for number in judged if number.guard]
    found = []
    if guarded:
        first = guarded[0]
        z = (first.guard or 0.0) / first.u if first.u else paper.desk.z
        found.append(GUARDED.format(z=f"{z:.4g}"))
    if any(not number.guard for number in judged):
        found.append(PLAIN)
    return tuple(found)


def _row(number: Number) -> dict[str, object]:
    guard = number.guard or 0.0
    digits = max(decimals_of(number), 2)
    place = place_of(number) or "not_shown"
    low, high = number.lower, number.upper
    return {
        "name": number_name(number),
        "value": with_unit(number),
        "u": "" if number.u is None else _short(number.u),
        "g": _short(guard) if guard else "0",
        "low": "" if low is None else bound_text(low, digits),
        "low_in": "" if low is None else fig(low + guard, digits),
        "high": "" if high is None else bound_text(high, digits),
        "high_in": "" if high is None else fig(high - guard, digits),
        "low_out": "" if low is None or not guard else fig(low - guard, digits),
        "high_out": "" if high is None or not guard else fig(high + guard, digits),
        "unit": unit_text(number.unit),
        "p_in": "" if number.p_in is None else f"{number.p_in:.4f}",
        "verdict": place,
        "word": VERDICT_WORDS[place],
        "bar": bar_of(number),
    }


def _short(value: float) -> str:
    """Enough digits that z u can be checked: five significant ones."""
    text = f"{value:.5g}"
    return fig(value) if "e" in text else text
