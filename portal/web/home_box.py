"""The box "Can this car go home today?" of a car's page: its form, and the answer once it was asked."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from portal.clock import now
from portal.home_entries import ENTRIES, BadEntryError, Entry, entered
from rules.advice.home import HomeAnswer, Step
from rules.advice.home_question import Entered
from rules.explain import readable

# The field by which a sent form is told from a page that was only opened.
ASKED: Final = "home"
HEADS: Final = {"window": "Possible", "not_today": "Not today", "cannot_tell": "Cannot be told yet"}
_UNITS: Final = {"degC": "°C"}
Ask = Callable[[Entered, datetime], HomeAnswer]


def home_box(query: Mapping[str, str], tz: str, ask: Ask) -> dict[str, Any]:
    """The fields as they were filled in; with ``asked`` the answer, or what was wrong with an entry.

    Args:
        query: the page's own query string.
        tz: the shop's zone; clock times in the form are of its local day.
        ask: answers for checked entries at an instant.
    """
    box: dict[str, Any] = {"asked": ASKED in query, "fields": [_field(entry, query) for entry in ENTRIES]}
    if not box["asked"]:
        return box
    at = now()
    try:
        answer = ask(entered(query, now=at, tz=tz), at)
    except BadEntryError as error:
        return box | {"fault": str(error)}
    return box | {
        "answer": answer.answer,
        "head": HEADS[answer.answer],
        "sentence": _after_head(answer),
        "steps": [_step(step, tz) for step in answer.steps],
    }


def _after_head(answer: HomeAnswer) -> str:
    """The sentence without the words that stand in bold before it."""
    text = answer.sentence.removeprefix(HEADS[answer.answer]).lstrip(".: ")
    return readable(text[:1].upper() + text[1:])


def _field(entry: Entry, query: Mapping[str, str]) -> dict[str, Any]:
    return {
        "name": entry.name,
        "label": entry.words,
        "unit": _UNITS.get(entry.unit, entry.unit),
        "value": query.get(entry.name, "")[:20],
        "is_time": entry.lowest is None,
    }


def _step(step: Step, tz: str) -> dict[str, str]:
    at = "" if step.at is None else f"{step.at.astimezone(ZoneInfo(tz)):%H:%M %Z}"
    words = "" if step.words == step.name else readable(step.words)
    return {"name": step.name[:1].upper() + step.name[1:], "at": at, "words": words, "source": step.source}
