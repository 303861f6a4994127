"""Reading where a pack's rules come from: its sources, and the citation beside each rule."""

from typing import Final

from rules.packs.model import Citation, Source
from rules.packs.tree import Map, Node, Scalar, Section

SOURCE_KINDS: Final = (
    "maker_service_information",
    "maker_service_bulletin",
    "maker_position_statement",
    "standard",
    "law",
    "house_rule",
    "common_practice",
)
# Kinds that print without a document: they say themselves that there is none, or whose own rule it is.
KINDS_WITHOUT_DOCUMENT: Final = ("common_practice", "house_rule")
NO_SOURCE: Final = Citation(source=Source(id="", kind="common_practice"))


def read_sources(pack: Section) -> dict[str, Source]:
    """The sources by id; a maker's text needs document, edition, and who looked it up when."""
    sources: dict[str, Source] = {}
    for section in pack.sections("sources"):
        section.only("id", "kind", "title", "document", "edition", "retrieved", "retrieved_by")
        kind = section.choice("kind", SOURCE_KINDS)
        source_id = section.text("id")
        if source_id in sources:
            section.fault("id", "duplicate_id", f'a source "{source_id}" stands here already')
        if kind in KINDS_WITHOUT_DOCUMENT:
            sources[source_id] = Source(id=source_id, kind=kind, title=section.text("title", ""))
            continue
        retrieved = section.date("retrieved")
        sources[source_id] = Source(
            id=source_id,
            kind=kind,
            title=section.text("title"),
            document=section.text("document"),
            edition=section.text("edition"),
            retrieved=retrieved.isoformat() if retrieved else "",
            retrieved_by=section.text("retrieved_by"),
        )
    return sources


def read_citation(section: Section, sources: dict[str, Source], fallback: Citation | None = None) -> Citation:
    """The citation under ``cite``; without one, the ``fallback``, and without that a fault."""
    node = section.node.get("cite")
    if node is None:
        if fallback is None:
            section.fault("cite", "citation_missing", "nobody is cited; name a source or common practice")
            return NO_SOURCE
        return fallback
    if not isinstance(node, Map):
        words = 'write cite: {source: S-1, section: "3.4"}'
        section.fault("cite", "wrong_type", words, expected="source and section")
        return NO_SOURCE
    cite = Section(node, section.faults, f"{section.where}, cite")
    cite.only("source", "section")
    source_id = cite.text("source")
    if cite.has("source") and source_id not in sources:
        cite.faults.add(
            cite.line_of("source"), "unknown_source", f'{cite.where}: no source "{source_id}" is listed'
        )
    source = sources.get(source_id, NO_SOURCE.source)
    return Citation(source=source, section=_section_text(cite.node.get("section"), cite))


def _section_text(node: Node | None, cite: Section) -> str:
    if node is None:
        return ""
    if isinstance(node, Scalar) and isinstance(node.value, str):
        return node.value
    cite.fault("section", "wrong_type", 'put the section in quotes, as in "3.10"', expected="text in quotes")
    return ""
