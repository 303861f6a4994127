"""What the manager's board is made of: cars grouped by consequence, shops, and what falls due."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.html import format_html
from django.utils.safestring import SafeString

from jobs.access import Actor, locations_for
from jobs.selectors.cars import BoardCar, OpenProof, board_cars
from jobs.selectors.due import Due, due_within
from portal.web.proof_rows import record_part
from portal.web.proof_words import title_of_row, turn_of_row
from rules.explain import readable

_GROUPS = (
    ("left", "Left against hold"),
    ("car", "Hold, needs the car"),
    ("desk", "Hold, can be settled from the desk"),
    ("decided", "Goes with a person's decision"),
    ("goes", "Goes, all met"),
    ("unjudged", "Not judged yet"),
)
_CONTRARY = re.compile(r"claims cannot all be true: .*They miss each other by ([^.]*)\.", re.DOTALL)
_SENTENCE_END = re.compile(r"(?<=[a-z)]\.) (?=[A-Z])|(?<=\d\.) (?=[A-Z])")
_TWO_LINES = 150
_SETTLE_FIRST = ("now", "car_here", "desk", "never")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    """One car on the board."""

    job_id: UUID
    number: str
    model: str
    model_year: int
    vin_tail: str
    location: str
    tz: str
    opened_at: datetime
    delivered_at: datetime | None
    gate: str
    group: str
    what: str
    in_the_way: str
    settle: str
    unmapped: int
    verdicts: tuple[str, ...]


def board_of(actor: Actor, at: datetime) -> dict[str, Any]:
    """The whole board; cars that left as they should are counted in the headline and listed last."""
    rows = [_row(item) for item in board_cars(actor)]
    groups = [{"title": title, "cars": [row for row in rows if row.group == code]} for code, title in _GROUPS]
    here = [row for row in rows if row.delivered_at is None]
    held = [row for row in here if row.group in ("car", "desk", "unjudged")]
    left = [row for row in rows if row.group == "left"]
    return {
        "title": f"{len(held)} held" if held else "Board",
        "headline": _headline(len(here), len(held), len(left)),
        "groups": [group for group in groups if group["cars"]],
        "shops": [
            {
                "code": place.code,
                "name": place.name,
                "tz": place.tz,
                "cars": [row for row in here if row.location == place.code],
            }
            for place in locations_for(actor)
        ],
        "due": [_due_row(item) for item in due_within(actor, days=30, on=_today(actor, at))],
    }


_DUE_WORDS = {
    "instrument": "certificate of this instrument",
    "qualification": "qualification",
    "floor_survey": "floor survey",
}


def _today(actor: Actor, at: datetime) -> date:
    return at.astimezone(ZoneInfo(actor.organisation.default_tz)).date()


def _due_row(item: Due) -> dict[str, Any]:
    left = f"{item.days_left} day{'' if item.days_left == 1 else 's'}"
    return {
        "due_on": item.due_on,
        "what": _due_what(item),
        "detail": _DUE_WORDS[item.kind],
        "over": item.days_left < 0,
        "where": item.location,
        "left": left
        if item.days_left >= 0
        else f"over for {-item.days_left} day{'' if item.days_left == -1 else 's'}",
    }


def _due_what(item: Due) -> str:
    """``PG-031 tire gauge``; ``Marek Ondry, glass set``: no codes of the data."""
    if item.kind == "qualification":
        return f"{item.who}, {item.what.replace('.', ' ').replace('_', ' ')}"
    return f"{item.what} {item.who.replace('_', ' ').replace('tyre', 'tire')}".strip()


def _row(item: BoardCar) -> BoardRow:
    car = item.car
    return BoardRow(
        job_id=car.job_id,
        number=car.number,
        model=car.model,
        model_year=car.model_year,
        vin_tail=car.vin_tail,
        location=car.location,
        tz=car.tz,
        opened_at=car.opened_at,
        delivered_at=car.delivered_at,
        gate=car.gate,
        group=_group(item),
        what=_what(item),
        in_the_way=_in_the_way(item),
        settle=_settle(item),
        unmapped=item.unmapped_lines,
        verdicts=item.verdicts,
    )


def _group(item: BoardCar) -> str:
    gate = item.car.gate
    if gate == "left_against_hold":
        return "left"
    if gate == "hold":
        needs_car = any(proof.settle in ("now", "car_here", "never") for proof in item.open_proofs)
        return "car" if needs_car or not item.open_proofs else "desk"
    if gate == "none":
        return "unjudged"
    return "goes" if gate == "release" else "decided"


def _in_the_way(item: BoardCar) -> str:
    if item.car.gate == "none":
        return "The record has not been judged."
    if not item.open_proofs:
        return "Nothing." if item.car.gate != "hold" else "What is required cannot be told yet."
    more = len(item.open_proofs) - 1
    first = _first(item)
    text = in_short(record_part(readable(first.sentence), first.citation))
    return text + (f" And {more} more." if more else "")


def in_short(text: str) -> str:
    """Whole sentences up to about two lines of the board, at least one; contrary times in one sentence."""
    contrary = _CONTRARY.search(text)
    if contrary:
        return f"Times on record cannot all be true; they miss each other by {contrary[1]}."
    parts = _SENTENCE_END.split(text)
    kept = [parts[0]]
    for part in parts[1:]:
        if len(" ".join([*kept, part])) > _TWO_LINES:
            break
        kept.append(part)
    return " ".join(kept)


def _what(item: BoardCar) -> str:
    """The proof that weighs most and its verdict: ``Final scan not shown.``"""
    if not item.open_proofs or item.car.gate == "none":
        return ""
    first = _first(item)
    word = "not met" if first.verdict == "not_met" else "not shown"
    return f"{title_of_row(first.check, first.proof_id)}: {word}."


def _settle(item: BoardCar) -> str:
    if not item.open_proofs:
        return "Nothing open"
    first = _first(item)
    return in_short(readable(first.change)) or "See the car's page"


def _first(item: BoardCar) -> OpenProof:
    """What weighs most: not met before not shown, then what can still be done soonest."""
    return min(
        item.open_proofs,
        key=lambda proof: (
            proof.verdict != "not_met",
            _SETTLE_FIRST.index(proof.settle),
            turn_of_row(proof.check, proof.proof_id),
        ),
    )


def _headline(here: int, held: int, left: int) -> SafeString:
    """Two sentences with what matters most in bold."""
    if left:
        gone = "One car has" if left == 1 else f"{_count(left)} cars have"
        first = format_html("<strong>{} left against hold.</strong> ", gone)
    else:
        first = format_html("{}", "")
    if not here:
        return format_html("{}No car stands here.", first)
    cars = "One car stands here" if here == 1 else f"{_count(here)} cars stand here"
    if not held:
        return format_html("{}{}. Each may go as the record stands.", first, cars)
    cannot = "it" if here == 1 else "one of them" if held == 1 else f"{_count(held).lower()} of them"
    return format_html("{}{}; <strong>{} cannot go</strong> as the record stands.", first, cars, cannot)


_SMALL = (
    "No",
    "One",
    "Two",
    "Three",
    "Four",
    "Five",
    "Six",
    "Seven",
    "Eight",
    "Nine",
    "Ten",
    "Eleven",
    "Twelve",
)


def _count(number: int) -> str:
    return _SMALL[number] if number < len(_SMALL) else str(number)
