"""Reading proofs, the groups they are shared in, and the procedures that use them."""

from dataclasses import dataclass
from typing import Final

from rules.packs.alternatives import ALTERNATIVE_KEYS, ANY_OF, check_alternatives
from rules.packs.arguments import read_arguments, read_seconds
from rules.packs.check_library import CHECKS, NEVER_WAIVABLE
from rules.packs.citations import read_citation
from rules.packs.errors import did_you_mean
from rules.packs.model import Citation, Procedure, Proof, Source
from rules.packs.tree import Entry, Map, Section, Seq, sections_of
from rules.vocabulary import EVENTS, ROLES, STATE_CHANGES

PROOF_KEYS: Final = (
    "id",
    "check",
    "waivable",
    "waive_role",
    "cite",
    "fresh_for",
    "broken_by",
    "earlier_visit",
    "part",
)
# What a proof with alternatives takes beside them; each way says its own freshness.
ANY_OF_KEYS: Final = ("id", ANY_OF, "waivable", "waive_role", "cite", "part")
PARTS: Final = ("still", "road")
PROCEDURE_KINDS: Final = ("static", "dynamic", "static_then_dynamic", "initialise")
# The implicit proof that an order list makes.
ORDER_PROOF: Final = "order"


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """The shared groups: each as the sections of its proofs, and as proofs before any change."""

    sections: dict[str, tuple[Section, ...]]
    proofs: dict[str, tuple[Proof, ...]]


def read_groups(pack: Section, sources: dict[str, Source]) -> Groups:
    """The shared groups; every proof is read once so that faults show."""
    groups = Groups(sections={}, proofs={})
    table = pack.section("groups", "groups", required=False)
    if table is None:
        return groups
    cite = Citation(source=Source(id="", kind="common_practice"))
    for entry in table.node.entries:
        if not isinstance(entry.node, Seq):
            words = f'group "{entry.key}" must be a list of proofs'
            table.fault(entry.key, "wrong_type", words, expected="a list of proofs")
            continue
        sections = sections_of(entry.node, pack.faults, entry.key, within=f"group {entry.key}")
        groups.sections[entry.key] = sections
        proofs: dict[str, Proof] = {}
        for section in sections:
            proof = _read_proof(section, sources, cite, entry.key)
            if proof.id in proofs:
                section.fault("id", "duplicate_id", f'group {entry.key} has a proof "{proof.id}" already')
            proofs[proof.id] = proof
        groups.proofs[entry.key] = tuple(proofs.values())
    return groups


def read_procedures(pack: Section, sources: dict[str, Source], groups: Groups) -> tuple[Procedure, ...]:
    """Every procedure with its complete list of proofs."""
    procedures: dict[str, Procedure] = {}
    for section in pack.sections("procedures", required=False):
        procedure = _read_procedure(section, sources, groups)
        if procedure.id in procedures:
            section.fault("id", "duplicate_id", f'a procedure "{procedure.id}" stands here already')
        procedures[procedure.id] = procedure
    return tuple(procedures.values())


def _read_procedure(section: Section, sources: dict[str, Source], groups: Groups) -> Procedure:
    section.only("id", "title", "kind", "cite", "use", "change", "drop", "proofs", "order", "refusable")
    cite = read_citation(section, sources)
    kind = section.choice("kind", PROCEDURE_KINDS, "")
    proofs: dict[str, Proof] = {}
    for group, proof_section in _shared(section, groups) + _own(section):
        proof = _read_proof(proof_section, sources, cite, group)
        if proof.id in proofs:
            proof_section.fault("id", "duplicate_id", f'{section.where} has a proof "{proof.id}" already')
        if proof.part is not None and kind != "static_then_dynamic":
            proof_section.fault("part", "part_misplaced", "only a static_then_dynamic procedure has parts")
        proofs[proof.id] = proof
    procedure = Procedure(
        id=section.text("id"),
        title=section.text("title"),
        kind=kind,
        cite=cite,
        proofs=tuple(proofs.values()),
        order=section.words("order", required=False),
        refusable=section.yes_no("refusable"),
        uses=section.words("use", required=False),
        drops=section.words("drop", required=False),
        line=section.line,
        order_line=section.line_of("order"),
    )
    _check_procedure(section, procedure)
    return procedure


def _check_procedure(section: Section, procedure: Procedure) -> None:
    if not procedure.proofs:
        section.faults.add(section.line, "no_proofs", f"{section.where} asks for no proof at all")
    ids = tuple(proof.id for proof in procedure.proofs)
    for name in procedure.order:
        if name not in EVENTS and name not in ids:
            hint = did_you_mean(name, EVENTS + ids)
            section.fault("order", "unknown_event", f'"{name}" is neither an event nor a proof here{hint}')
    if procedure.order and ORDER_PROOF in ids:
        section.fault("order", "duplicate_id", "an order list makes the proof id order; name the other anew")
    guarded = [proof for proof in procedure.proofs if proof.check in NEVER_WAIVABLE]
    if procedure.refusable and guarded:
        section.fault("refusable", "not_refusable", f"{guarded[0].check} can be neither refused nor waived")


def _own(section: Section) -> list[tuple[str | None, Section]]:
    return [(None, proof) for proof in section.sections("proofs", required=not section.has("use"))]


def _shared(section: Section, groups: Groups) -> list[tuple[str | None, Section]]:
    """The proofs of the used groups, with ``change`` laid over them and those under ``drop`` left out."""
    dropped = section.words("drop", required=False)
    changes = section.section("change", required=False)
    changed = {entry.key: entry for entry in changes.node.entries} if changes is not None else {}
    found: list[tuple[str | None, Section]] = []
    seen: set[str] = set()
    for name in section.words("use", tuple(groups.sections), required=False):
        for proof in groups.sections[name]:
            proof_id = proof.text("id")
            seen.add(proof_id)
            if proof_id not in dropped:
                found.append((name, _changed(proof, changed.get(proof_id), section)))
    _check_named(section, dropped, tuple(changed), tuple(sorted(seen)))
    return found


def _check_named(
    section: Section, dropped: tuple[str, ...], changed: tuple[str, ...], seen: tuple[str, ...]
) -> None:
    for key, named in (("drop", dropped), ("change", changed)):
        for proof_id in named:
            if proof_id not in seen:
                hint = did_you_mean(proof_id, seen)
                section.fault(key, "unknown_proof", f'{key} names "{proof_id}", which no group brings{hint}')
    for proof_id in dropped:
        if proof_id in changed:
            section.fault("change", "changed_and_dropped", f'"{proof_id}" is changed and dropped')


def _changed(proof: Section, change: Entry | None, section: Section) -> Section:
    """The group's proof with only the named keys replaced; faults point at the change."""
    if change is None:
        return proof
    if not isinstance(change.node, Map):
        words = f'change of "{change.key}" must be a mapping'
        section.faults.add(change.line, "wrong_type", words, expected="keys with their new values")
        return proof
    if not change.node.entries:
        section.faults.add(change.line, "empty_value", f'change of "{change.key}" changes nothing')
    for entry in change.node.entries:
        if entry.key in ("id", "check"):
            section.faults.add(
                entry.line, "unknown_key", f'"{entry.key}" of a shared proof cannot be changed'
            )
    replaced = {entry.key: entry for entry in change.node.entries if entry.key not in ("id", "check")}
    kept = [replaced.pop(entry.key, entry) for entry in proof.node.entries]
    merged = Map(line=change.line, entries=(*kept, *replaced.values()))
    return Section(merged, section.faults, f"{section.where}, {change.key}")


def _read_proof(section: Section, sources: dict[str, Source], cite: Citation, group: str | None) -> Proof:
    if section.has(ANY_OF):
        return _read_any_of(section, sources, cite, group)
    check = section.choice("check", tuple(CHECKS))
    known = tuple(CHECKS[check].arguments) if check else _every_key(section)
    section.only(*PROOF_KEYS, *known)
    waivable, role = _read_waiver(section, (check,))
    return Proof(
        id=section.text("id"),
        check=check,
        arguments=read_arguments(check, section) if check else {},
        waivable=waivable,
        waive_role=role,
        cite=read_citation(section, sources, cite),
        fresh_for_s=read_seconds(section, "fresh_for"),
        broken_by=section.words("broken_by", STATE_CHANGES, required=False),
        earlier_visit=section.yes_no("earlier_visit"),
        part=section.choice("part", PARTS, "") or None,
        group=group,
        line=section.line,
    )


def _read_any_of(section: Section, sources: dict[str, Source], cite: Citation, group: str | None) -> Proof:
    """A proof with alternatives: each way bears the proof's id, part, group and waiver."""
    section.only(*ANY_OF_KEYS)
    own_cite = read_citation(section, sources, cite)
    proof_id = section.text("id")
    part = section.choice("part", PARTS, "") or None
    ways = []
    for way in section.sections(ANY_OF):
        check = way.choice("check", tuple(CHECKS))
        way.only(*ALTERNATIVE_KEYS, *(tuple(CHECKS[check].arguments) if check else _every_key(way)))
        ways.append(
            Proof(
                id=proof_id,
                check=check,
                arguments=read_arguments(check, way) if check else {},
                waivable=False,
                waive_role=None,
                cite=read_citation(way, sources, own_cite),
                fresh_for_s=read_seconds(way, "fresh_for"),
                broken_by=way.words("broken_by", STATE_CHANGES, required=False),
                earlier_visit=way.yes_no("earlier_visit"),
                part=part,
                group=group,
                line=way.line,
            )
        )
    check_alternatives(section, tuple(ways))
    waivable, role = _read_waiver(section, tuple(way.check for way in ways))
    return Proof(
        id=proof_id,
        check=ANY_OF,
        arguments={},
        waivable=waivable,
        waive_role=role,
        cite=own_cite,
        part=part,
        group=group,
        line=section.line,
        alternatives=tuple(ways),
    )


def _every_key(section: Section) -> tuple[str, ...]:
    """An unknown check is one fault, not one for each of its arguments."""
    return tuple(entry.key for entry in section.node.entries)


def _read_waiver(section: Section, checks: tuple[str, ...]) -> tuple[bool, str | None]:
    waivable = section.yes_no("waivable")
    role = section.choice("waive_role", ROLES, "") or None
    for check in checks:
        if waivable and check in NEVER_WAIVABLE:
            section.fault("waivable", "not_waivable", f"{check} can never be waived")
    if waivable and role is None:
        words = "a proof that may be waived names who may: waive_role"
        section.fault("waivable", "waive_role_missing", words)
    if role is not None and not waivable:
        section.fault("waive_role", "waive_role_misplaced", "waive_role stands only beside waivable: yes")
    return waivable, role
