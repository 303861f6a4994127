"""The whole packet as one HTML page with its charts and pictures, from the source and nothing else."""

import re
from dataclasses import dataclass
from typing import Any, Final

from django.template.loader import render_to_string

from jobs.packets.fonts import printable
from jobs.packets.manifest import grouped
from jobs.packets.pages import times
from jobs.packets.pages.charts import Chart
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.evidence import evidence_view, log_view
from jobs.packets.pages.front import front_view
from jobs.packets.pages.grounds import decisions_view, identity_view, owner_view, requirements_view
from jobs.packets.pages.means import adhesive_view, instruments_view, people_view
from jobs.packets.pages.procedures import procedures_view
from jobs.packets.pages.sheets import sheets_view
from jobs.packets.pages.time_line import time_line
from jobs.packets.source import pack_file_name
from rules.explain import contradiction_texts

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
    html = render_to_string(
        "packet/packet.html",
        {
            "packet": _packet(context),
            "front": front_view(context),
            "contradictions": contradiction_texts(context.assessment),
            "requirements": requirements_view(context),
            "identity": identity_view(context),
            "owner": owner_view(context),
            "procedures": procedures,
            "adhesive": adhesive_view(context),
            "time_line": time_line(context.facts),
            "instruments": instruments_view(context),
            "people": people_view(context),
            "decisions": decisions_view(context),
            "evidence": evidence,
            "sheets": sheets,
            "sheets_right": f"{len(sheets)} sheets",
            "log": log_view(context),
            "packs": _packs(context),
        },
    )
    return Page(
        html=printable(html),
        charts=_chart_data(charts),
        pictures=tuple(
            sorted({row["thumb"] for row in (*evidence["rows"], *evidence["rejected"]) if row["thumb"]})
        ),
    )


def _chart_data(charts: list[Chart]) -> dict[str, dict[str, Any]]:
    return {chart.name: chart.data for chart in charts}


def _packet(context: PageContext) -> dict[str, Any]:
    source = context.source
    return {
        "organisation": source.organisation_name,
        "place": source.facts.place.name,
        "serial": source.serial,
        "sealed": times.instant(source.facts.place, source.sealed_at, seconds=True),
        "dated": source.sealed_at.strftime("%Y-%m-%dT%H:%M:%SZ"),
        "supersedes": source.supersedes or "",
        "root": context.root,
        "root_head": grouped(context.root[:8]),
        "style": "letter.css" if source.paper == "Letter" else "a4.css",
    }


def _packs(context: PageContext) -> list[dict[str, Any]]:
    return [
        {
            "name": f"{pack.pack} {pack.edition}",
            "title": pack.title,
            "file": pack_file_name(pack),
            "hash": [grouped(pack.sha256[:32]), grouped(pack.sha256[32:])],
        }
        for pack in context.source.packs
    ]


def stamp_page(line: str, width_pt: float, height_pt: float) -> str:
    """One transparent page with ``line`` at the left of its foot."""
    plain = re.sub(r"\s+", " ", line)
    numbers = {"width": f"{width_pt:g}", "height": f"{height_pt:g}"}
    return printable(render_to_string("packet/stamp.html", {"line": plain, **numbers}))
