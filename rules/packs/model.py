"""A pack edition as data: triggers, procedures, proofs, citations. Frozen; made by the loader only."""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from rules.facts import Remembers, once
from rules.quantities import Limit

# A proof's arguments after parsing: limits as Limit, bare quantities as float in the program's unit,
# words as str or tuple of str, maps of words as tuple of pairs, counts as int.
Argument = Limit | float | int | bool | str | tuple[str, ...] | tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    id: str
    kind: str
    title: str = ""
    document: str = ""
    edition: str = ""
    retrieved: str = ""
    retrieved_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation(Remembers):
    source: Source
    section: str = ""

    @property
    def text(self) -> str:
        """``OV-SI-2114, edition 2026-02, 3.4`` or ``common practice, no source``."""
        return _citation_text(self)


@once
def _citation_text(citation: Citation) -> str:
    source = citation.source
    if source.kind == "common_practice":
        return "common practice, no source"
    parts = [source.document]
    if source.edition:
        parts.append(f"edition {source.edition}")
    if citation.section:
        parts.append(citation.section)
    return ", ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One node of a trigger's condition.

    kind: always, fitted, operation, touched, code_seen, no_maker_pack, model, year, built, all, any, none.
    ``names`` holds sensors, operations, codes or models; ``module`` the module of code_seen;
    ``years`` [first, last] for year; ``built`` (from, to) as ISO dates or None for built; ``parts`` the
    children of all, any, none.
    """

    kind: str
    names: tuple[str, ...] = ()
    module: str = ""
    years: tuple[int, int] | None = None
    built: tuple[date | None, date | None] | None = None
    parts: tuple["Condition", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """``calls_for`` is one procedure id, or empty where ``by_model`` gives the procedure per model."""

    id: str
    plain: str
    when: Condition
    calls_for: str
    by_model: tuple[tuple[str, str], ...]
    before: tuple[str, ...]
    cite: Citation
    line: int = 0

    def procedure_for(self, model: str) -> str | None:
        """The procedure this trigger calls for on ``model``; None where ``by_model`` has no entry."""
        return self.calls_for or dict(self.by_model).get(model)

    @property
    def procedures(self) -> tuple[str, ...]:
        return (self.calls_for,) if self.calls_for else tuple(dict.fromkeys(p for _, p in self.by_model))


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """One thing the record must show. ``fresh_for_s`` in seconds; ``part`` is still or road or None.

    ``alternatives``: for the check any_of, the ways of which one must be met; each bears the proof's id.
    """

    id: str
    check: str
    arguments: Mapping[str, Argument]
    waivable: bool
    waive_role: str | None
    cite: Citation
    fresh_for_s: float | None = None
    broken_by: tuple[str, ...] = ()
    earlier_visit: bool = False
    part: str | None = None
    group: str | None = None
    line: int = 0
    alternatives: tuple["Proof", ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """``kind``: static, dynamic, static_then_dynamic, initialise, or empty for a common record."""

    id: str
    title: str
    kind: str
    cite: Citation
    proofs: tuple[Proof, ...]
    order: tuple[str, ...] = ()
    refusable: bool = False
    uses: tuple[str, ...] = ()
    drops: tuple[str, ...] = ()
    line: int = 0
    order_line: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class NotNeeded:
    sensors: tuple[str, ...]
    operations: tuple[str, ...]
    plain: str
    cite: Citation
    line: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    name: str
    given: Mapping[str, object]
    expect: Mapping[str, object]
    line: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PackEdition(Remembers):
    """One edition. ``makes`` empty means any make; a pack with makes is the maker's voice for ``speaks_for``.

    ``in_force_from``: local date; the edition ends when its successor begins. ``groups``: the shared proofs
    as written, before any procedure changes them. ``lines``: where each top-level key stands.
    """

    pack: str
    edition: int
    title: str
    sha256: str
    in_force_from: date
    makes: tuple[str, ...]
    model_years: tuple[int, int] | None
    builds_on: tuple[tuple[str, int], ...]
    sources: tuple[Source, ...]
    z: float
    speaks_for: tuple[str, ...]
    depends_on: Mapping[str, tuple[str, ...]]
    not_needed: tuple[NotNeeded, ...]
    triggers: tuple[Trigger, ...]
    procedures: tuple[Procedure, ...]
    examples: tuple[Example, ...] = ()
    keep_plan_edition: bool = False
    house: bool = False
    replaces: tuple[str, int] | None = None
    zones: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    groups: Mapping[str, tuple[Proof, ...]] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)
    models: tuple[str, ...] = ()

    @property
    def is_maker(self) -> bool:
        return bool(self.makes) and not self.house

    def covers(self, make: str, model_year: int, model: str) -> bool:
        """A pack that names models has read the maker for these only; else for every model of the make."""
        if (self.makes and make not in self.makes) or (self.models and model not in self.models):
            return False
        return self.model_years is None or self.model_years[0] <= model_year <= self.model_years[1]

    def procedure(self, procedure_id: str) -> Procedure | None:
        return _procedures(self).get(procedure_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackSet(Remembers):
    """All published editions of an organisation, in any order; ``withdrawn_on`` by (pack, edition)."""

    editions: tuple[PackEdition, ...]
    withdrawn_on: Mapping[tuple[str, int], date] = field(default_factory=dict)

    def in_force(self, on: date) -> tuple[PackEdition, ...]:
        """The edition of each pack that is in force on the local date ``on``, by pack name.

        An edition ends for good when its successor begins: a withdrawn successor does not bring it back.
        """
        return _in_force(self, bisect_right(_turns(self), on))

    def covering(self, on: date, make: str, model_year: int, model: str) -> tuple[PackEdition, ...]:
        """Those of them that cover such a vehicle."""
        return _covering(self, bisect_right(_turns(self), on), make, model_year, model)


@once
def _procedures(edition: PackEdition) -> Mapping[str, Procedure]:
    # The first of a name: the reader lets no second one through.
    return {one.id: one for one in reversed(edition.procedures)}


@once
def ordered_pairs(edition: PackEdition) -> frozenset[tuple[str, str]]:
    """(procedure, later procedure) by the triggers' ``before``."""
    return frozenset(
        (first, later)
        for trigger in edition.triggers
        for first in trigger.procedures
        for later in trigger.before
    )


@once
def _turns(packs: PackSet) -> tuple[date, ...]:
    """The days on which something begins or ends: between two of them the same editions are in force."""
    return tuple(sorted({*(one.in_force_from for one in packs.editions), *packs.withdrawn_on.values()}))


@once
def _in_force(packs: PackSet, turn: int) -> tuple[PackEdition, ...]:
    if turn == 0:
        return ()
    on = _turns(packs)[turn - 1]
    best: dict[str, PackEdition] = {}
    for edition in packs.editions:
        current = best.get(edition.pack)
        begun = edition.in_force_from <= on
        if begun and (current is None or edition.in_force_from >= current.in_force_from):
            best[edition.pack] = edition
    return tuple(best[name] for name in sorted(best) if not _is_withdrawn(packs, best[name], on))


def _is_withdrawn(packs: PackSet, edition: PackEdition, on: date) -> bool:
    ended = packs.withdrawn_on.get((edition.pack, edition.edition))
    return ended is not None and ended <= on


@once
def _covering(packs: PackSet, turn: int, make: str, model_year: int, model: str) -> tuple[PackEdition, ...]:
    return tuple(one for one in _in_force(packs, turn) if one.covers(make, model_year, model))
