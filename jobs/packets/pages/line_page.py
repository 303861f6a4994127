"""The time line of one job as a page: the packet's drawing and table, orders and contradictions in words."""

from collections.abc import Iterable
from typing import Any

from jobs.packets.pages.clocks import clocks_of, with_names
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.lanes import SCREEN, day_drawings
from jobs.packets.pages.orders import orders_of
from jobs.packets.pages.time_line import time_line
from jobs.packets.pages.worked.desk import Desk
from jobs.packets.source import PacketSource
from rules.explain import contradiction_texts
from rules.facts import JobFacts
from rules.packs.model import PackEdition
from rules.result import Assessment

_COUNTS = {"true": "shown", "false": "broken", "unknown": "open"}


def line_page(
    source: PacketSource, editions: Iterable[PackEdition], devices: Iterable[Any]
) -> dict[str, Any]:
    """Everything the page shows, from a frozen source; ``devices`` each with ``id`` and ``name``."""
    context = PageContext(source=source, editions=tuple(editions), root="")
    clocks = clocks_of(context.facts, devices)
    arrows, orders = orders_of(Desk(context))
    contradictions = [
        {
            "lead": with_names(one.lead, clocks),
            "claims": [with_names(claim, clocks) for claim in one.claims],
        }
        for one in contradiction_texts(context.assessment)
    ]
    counts = {word: sum(_COUNTS[one.truth] == word for one in orders) for word in _COUNTS.values()}
    days = time_line(context.facts, {clock.words: clock.name for clock in clocks})
    return {
        "sentence": _sentence(len(contradictions), counts),
        "clocks": clocks,
        "drawings": day_drawings(context.facts, clocks, arrows),
        "colours": SCREEN,
        "orders": orders,
        "contradictions": contradictions,
        "days": days,
        "events": sum(row.count for day in days for row in day.rows),
        "vehicle": context.facts.vehicle,
    }


def source_for_line(facts: JobFacts, assessment: Assessment, organisation: str) -> PacketSource:
    """A source of nothing but facts and their judgement, for a job of which no packet is meant."""
    return PacketSource(
        serial="",
        kind="full",
        paper="A4",
        organisation_name=organisation,
        sealed_at=assessment.gate_at,
        software_version=assessment.engine_version,
        facts=facts,
        assessment=assessment,
    )


def _sentence(contradictions: int, counts: dict[str, int]) -> str:
    """The head of the page: contradictions first, then what the clocks leave open, then what they show."""
    parts = []
    if contradictions:
        what = "Some times on record" if contradictions == 1 else f"{contradictions} sets of times on record"
        parts.append(f"{what} cannot all be true.")
    if counts["broken"]:
        parts.append(f"{_orders(counts['broken'])} broken.")
    if counts["open"]:
        parts.append(f"{_orders(counts['open'])} not shown either way.")
    if counts["shown"]:
        parts.append(f"{_orders(counts['shown'])} shown.")
    return " ".join(parts) or "No order of events is asked for yet."


def _orders(count: int) -> str:
    return "One order is" if count == 1 else f"{count} orders are"
