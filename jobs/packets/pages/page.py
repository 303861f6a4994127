"""The whole packet as one HTML page with its charts and pictures, from the source and nothing else."""

import html as markup
import re
from dataclasses import dataclass
from typing import Any, Final

from django.template.loader import render_to_string

from jobs.packets.fonts import printable
from jobs.packets.manifest import grouped
from jobs.packets.pages import times
from jobs.packets.pages.charts import Chart
from jobs.packets.pages.clocks import clocks_of, with_names
from jobs.packets.pages.closing import custodian_view, packs_view, production_view, words_view
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.evidence import evidence_view, log_view
from jobs.packets.pages.front import front_view
from jobs.packets.pages.grounds import decisions_view, identity_view, owner_view, requirements_view
from jobs.packets.pages.lanes import PRINT, day_drawings
from jobs.packets.pages.means import adhesive_view, instruments_view, people_view
from jobs.packets.pages.orders import orders_of
from jobs.packets.pages.plain_sheet import owner_sheet
from jobs.packets.pages.procedures import procedures_view
from jobs.packets.pages.sheets import sheets_view
from jobs.packets.pages.sublet import sublet_view
from jobs.packets.pages.time_line import time_line
from jobs.packets.pages.withheld import withheld_count, withheld_view
from jobs.packets.pages.worked.desk import Desk
from rules.explain import contradiction_texts
from rules.seal.entries import WITHHELD_TEXT

ROAD_CAUTION: Final = (
    "Driver does not touch or watch the device. Obey traffic law and weather limits. Systems may not react "
    "or may react wrongly. Never test emergency braking or steering against people or vehicles. Insured and "
    "licensed driver only."
)
STILL_CAUTION: Final = (
    "Follow the vehicle maker's service information and your licence. Keep to the maker's distances; nobody "
    "in the marked zone during the session. Jack, lift pads and stands clear of the car before anything is "
    "aimed. Engine running indoors: exhaust extraction connected and running."
)
CAUTIONS_BY_KIND: Final = {
    "dynamic": (ROAD_CAUTION,),
    "static": (STILL_CAUTION,),
    "static_then_dynamic": (STILL_CAUTION, ROAD_CAUTION),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The HTML, the data of the charts it names, and the hashes of the pictures it names."""

    html: str
    charts: dict[str, dict[str, Any]]
    pictures: tuple[str, ...]


# Chapters by their anchors, as the contents list them; the ones of a kind are put in where they stand.
CHAPTERS: Final = (
    ("page-1", "1 Statement of record"),
    ("ch-2", "2 What was required, and why"),
    ("ch-3", "3 Vehicle and fitted systems"),
    ("ch-4", "4 Owner: told, decided"),
    ("ch-5", "5 Procedures, one by one"),
    ("ch-6", "6 Bonded glass"),
    ("ch-7", "7 Time line"),
    ("ch-8", "8 Instruments"),
    ("ch-9", "9 People and signatures"),
    ("ch-10", "10 Sublet work"),
    ("ch-11", "11 Waivers and late notes"),
    ("ch-12", "12 Evidence list"),
    ("ch-13", "13 Computation sheets"),
    ("ch-14", "14 Log extract"),
    ("ch-15", "15 Packs as published"),
    ("ch-16", "16 Words, decision rule"),
    ("ch-17", "17 Custodian's form, blank"),
    ("ch-18", "18 Additions after release"),
)


def packet_page(context: PageContext) -> Page:
    """Renders every chapter; text that no font of the packet can show is written as code points."""
    procedures, charts = procedures_view(context)
    for procedure in procedures:
        procedure["line"] = f"Chapter {procedure['number']}, procedure {procedure['id']}"
        procedure["right"] = f"{procedure['pack']}"
        procedure["cautions"] = CAUTIONS_BY_KIND.get(procedure["kind"], ())
    evidence = evidence_view(context)
    evidence["right"] = f"{evidence['count']} files"
    sheets = sheets_view(context)
    is_owners = context.source.kind == "owner"
    html = render_to_string(
        "packet/packet.html",
        {
            "packet": _packet(context),
            "contents": _contents(context),
            "front": front_view(context),
            "contradictions": contradiction_texts(context.assessment),
            "requirements": requirements_view(context),
            "identity": identity_view(context),
            "owner": owner_view(context),
            "owner_sheet": owner_sheet(context) if is_owners else None,
            "procedures": procedures,
            "adhesive": adhesive_view(context),
            **_time_line(context),
            "instruments": instruments_view(context),
            "people": people_view(context),
            "sublet": sublet_view(context),
            "decisions": decisions_view(context),
            "evidence": evidence,
            "sheets": sheets,
            "sheets_right": f"{len(sheets)} sheets",
            "log": log_view(context),
            "packs": packs_view(context),
            "words": words_view(),
            "custodian": custodian_view(context),
            "production": production_view(context),
            "withheld": withheld_view(context),
        },
    )
    return Page(
        html=printable(_marked(context, html)),
        charts=_chart_data(charts),
        pictures=tuple(
            sorted({row["thumb"] for row in (*evidence["rows"], *evidence["rejected"]) if row["thumb"]})
        ),
    )


def _time_line(context: PageContext) -> dict[str, Any]:
    """Drawing, table, clocks and orders of chapter 7."""
    desk = Desk(context)
    clocks = clocks_of(context.facts, context.devices)
    arrows, shown = orders_of(desk)
    return {
        "time_line": time_line(context.facts),
        "clocks": clocks,
        "drawings": day_drawings(context.facts, clocks, arrows),
        "orders": shown,
        "colours": PRINT,
    }


def _contents(context: PageContext) -> list[tuple[str, str]]:
    found = list(CHAPTERS)
    if withheld_view(context) is not None:
        found.insert(1, ("withheld", "What this copy does not give"))
    if context.source.kind == "owner":
        found.insert(1, ("owners-sheet", "Owner's sheet, in plain words"))
    if context.source.kind == "counsel":
        found.insert(len(found) - 1, ("production", "For counsel: production log"))
    return found


def _marked(context: PageContext, html: str) -> str:
    """Devices by their names instead of the beginning of their ids; withheld text with a mark."""
    named = with_names(html, clocks_of(context.facts, context.devices), markup.escape)
    told = markup.escape(WITHHELD_TEXT)
    return named.replace(told, '<span class="withheld">withheld</span>')


def _chart_data(charts: list[Chart]) -> dict[str, dict[str, Any]]:
    return {chart.name: chart.data for chart in charts}


def _packet(context: PageContext) -> dict[str, Any]:
    source = context.source
    return {
        "organisation": source.organisation_name,
        "place": source.facts.place.name,
        "serial": source.own_serial,
        "of": source.serial if source.redaction is not None else "",
        "kind": source.own_kind,
        "withheld": withheld_count(source),
        "sealed": times.instant(source.facts.place, source.sealed_at, seconds=True),
        "dated": source.sealed_at.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "supersedes": source.supersedes or "",
        "root": context.root,
        "root_head": grouped(context.root[:8]),
        "style": "letter.css" if source.paper == "Letter" else "a4.css",
    }


def stamp_page(line: str, width_pt: float, height_pt: float) -> str:
    """One transparent page with ``line`` at the left of its foot."""
    plain = re.sub(r"\s+", " ", line)
    numbers = {"width": f"{width_pt:g}", "height": f"{height_pt:g}"}
    return printable(render_to_string("packet/stamp.html", {"line": plain, **numbers}))
