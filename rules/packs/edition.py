"""Putting one pack edition together from its tree, with everything that its parts must know of each other."""

import hashlib
from collections.abc import Mapping
from datetime import date
from typing import Final

from rules.packs.citations import read_citation, read_sources
from rules.packs.conditions import read_triggers, read_years
from rules.packs.errors import FaultList, did_you_mean
from rules.packs.example_text import read_examples
from rules.packs.model import NotNeeded, PackEdition, Procedure, Source, Trigger
from rules.packs.proofs import read_groups, read_procedures
from rules.packs.tree import Map, Scalar, Section, Seq, unknown_operation
from rules.vocabulary import MODULE_SYSTEMS, ROLES, SENSORS, is_operation_name

# 95 percent one-sided for a normal case (JCGM 106:2012); project default where a pack names no factor.
DEFAULT_Z: Final = 1.645
LOWEST_Z, HIGHEST_Z = 1.0, 5.0
HIGHEST_EDITION: Final = 1_000_000
NEVER_IN_FORCE: Final = date.max

PACK_KEYS: Final = (
    *("pack", "edition", "title", "in_force", "covers", "builds_on", "replaces", "house"),
    *("written_by", "approved_by", "sources", "decision", "speaks_for", "depends_on", "zones"),
    *("not_needed", "keep_plan_edition", "triggers", "groups", "procedures", "examples"),
)


def build_edition(tree: Map, data: bytes, faults: FaultList) -> PackEdition:
    """The edition as far as it can be read; it is good only if ``faults`` stayed empty."""
    pack = Section(tree, faults, "pack")
    pack.only(*PACK_KEYS)
    sources = read_sources(pack)
    makes, models, model_years = _read_covers(pack)
    triggers = read_triggers(pack, sources)
    groups = read_groups(pack, sources)
    procedures = read_procedures(pack, sources, groups)
    for key in ("written_by", "approved_by"):
        _read_person(pack, key)
    edition = PackEdition(
        pack=pack.text("pack"),
        edition=pack.integer("edition", 1, HIGHEST_EDITION),
        title=pack.text("title"),
        sha256=hashlib.sha256(data).hexdigest(),
        in_force_from=_read_in_force(pack),
        makes=makes,
        model_years=model_years,
        models=models,
        builds_on=_read_builds_on(pack),
        sources=tuple(sources.values()),
        z=_read_z(pack),
        speaks_for=pack.words("speaks_for", SENSORS, required=False),
        depends_on=_read_depends_on(pack),
        not_needed=_read_not_needed(pack, sources),
        triggers=triggers,
        procedures=procedures,
        examples=read_examples(pack),
        keep_plan_edition=pack.yes_no("keep_plan_edition"),
        house=pack.yes_no("house"),
        replaces=_read_replaces(pack),
        zones=_read_zones(pack),
        groups=groups.proofs,
        lines={entry.key: entry.line for entry in tree.entries},
    )
    _check_unused(pack, groups.sections, procedures)
    _check_references(pack, triggers, procedures, house=edition.house)
    return edition


def _read_covers(pack: Section) -> tuple[tuple[str, ...], tuple[str, ...], tuple[int, int] | None]:
    covers = pack.section("covers")
    if covers is None:
        return (), (), None
    covers.only("makes", "models", "model_years")
    makes = covers.node.get("makes")
    years = read_years(covers, "model_years") if covers.has("model_years") else None
    if isinstance(makes, Scalar):
        covers.choice("makes", ("any",))
        if covers.has("models"):
            covers.fault("models", "models_misplaced", "a pack for every make names no models")
        return (), (), years
    return covers.words("makes"), covers.words("models", required=False), years


def _read_in_force(pack: Section) -> date:
    section = pack.section("in_force")
    if section is None:
        return NEVER_IN_FORCE
    if section.has("to") or section.has("until"):
        section.faults.add(
            section.line,
            "end_in_text",
            "in_force: an edition never states its own end; it ends when its successor begins",
        )
        section.only("from", "to", "until")
    else:
        section.only("from")
    return section.date("from") or NEVER_IN_FORCE


def _read_builds_on(pack: Section) -> tuple[tuple[str, int], ...]:
    found = []
    for section in pack.sections("builds_on", required=False):
        section.only("pack", "edition")
        name, words = section.text("pack"), section.text("edition").split()
        if len(words) == 2 and words[0] == "at_least" and words[1].isascii() and words[1].isdigit():
            found.append((name, int(words[1][:7])))
        elif words:
            section.fault("edition", "edition_form", "write edition: at_least 3")
    return tuple(found)


def _read_replaces(pack: Section) -> tuple[str, int] | None:
    section = pack.section("replaces", required=False)
    if section is None:
        return None
    section.only("pack", "edition")
    name, edition = section.text("pack"), section.integer("edition", 1, HIGHEST_EDITION)
    if name == pack.text("pack") and edition >= _own_edition(pack) > 0:
        section.fault("edition", "edition_order", "an edition replaces an earlier one of its pack")
    return name, edition


def _own_edition(pack: Section) -> int:
    node = pack.node.get("edition")
    value = node.value if isinstance(node, Scalar) else 0
    return value if isinstance(value, int) and not isinstance(value, bool) else 0


def _read_person(pack: Section, key: str) -> None:
    section = pack.section(key)
    if section is None:
        return
    section.only("name", "role", "dated")
    section.text("name")
    section.choice("role", ROLES)
    section.date("dated")


def _read_z(pack: Section) -> float:
    section = pack.section("decision", required=False)
    if section is None:
        return DEFAULT_Z
    section.only("z")
    return section.number("z", LOWEST_Z, HIGHEST_Z)


def _read_depends_on(pack: Section) -> dict[str, tuple[str, ...]]:
    section = pack.section("depends_on", required=False)
    if section is None:
        return {}
    section.only(*SENSORS)
    return {
        entry.key: section.words(entry.key, (*SENSORS, *MODULE_SYSTEMS)) for entry in section.node.entries
    }


def _read_zones(pack: Section) -> dict[str, tuple[str, ...]]:
    """Zones by operation: other than the default ones, or those of added names."""
    section = pack.section("zones", required=False)
    if section is None:
        return {}
    zones: dict[str, tuple[str, ...]] = {}
    for entry in section.node.entries:
        if not is_operation_name(entry.key):
            unknown_operation(section, entry.key, entry.key)
        empty = isinstance(entry.node, Seq) and not entry.node.items
        zones[entry.key] = () if empty else section.words(entry.key, SENSORS)
    return zones


def _read_not_needed(pack: Section, sources: dict[str, Source]) -> tuple[NotNeeded, ...]:
    found = []
    for section in pack.sections("not_needed", required=False):
        section.only("sensors", "operations", "plain", "cite")
        operations = section.words("operations")
        for name in operations:
            if not is_operation_name(name):
                unknown_operation(section, "operations", name)
        found.append(
            NotNeeded(
                sensors=section.words("sensors", SENSORS),
                operations=operations,
                plain=section.text("plain"),
                cite=read_citation(section, sources),
                line=section.line,
            )
        )
    return tuple(found)


def _check_unused(
    pack: Section, groups: Mapping[str, tuple[Section, ...]], procedures: tuple[Procedure, ...]
) -> None:
    """A group that no procedure uses is a slip of the pen: its author believes that it is asked for."""
    used = {name for procedure in procedures for name in procedure.uses}
    table = pack.section("groups", "groups", required=False)
    for name in groups:
        if name not in used and table is not None:
            table.fault(name, "group_unused", f'no procedure uses the group "{name}"', found=name)


def _check_references(
    pack: Section, triggers: tuple[Trigger, ...], procedures: tuple[Procedure, ...], *, house: bool
) -> None:
    """Triggers must call for procedures that stand in this file; a house pack may call for a maker's."""
    if house:
        return
    known = tuple(procedure.id for procedure in procedures)
    sections = {section.line: section for section in pack.sections("triggers", required=False)}
    for trigger in triggers:
        named = [("calls_for", name) for name in trigger.procedures]
        named += [("before", name) for name in trigger.before]
        for key, name in named:
            if name and name not in known:
                hint = did_you_mean(name, known)
                sections[trigger.line].fault(
                    key, "unknown_procedure", f'no procedure "{name}" in this pack{hint}'
                )
    called = {name for trigger in triggers for name in trigger.procedures}
    for section in pack.sections("procedures", required=False):
        if section.text("id", " ") in known and section.text("id", " ") not in called:
            section.fault("id", "procedure_unreachable", "no trigger calls for this procedure")
