"""What there is to say of a pack before it is published: faults, failing examples, warnings by name."""

from collections.abc import Iterator
from dataclasses import dataclass

from rules.checks.solved import NotDecidableError, limits_of
from rules.examples import decided_rows, example_facts, is_about_proof, proof_of, run_examples
from rules.packs.capability import Capability, capabilities, owner
from rules.packs.coverage import covering
from rules.packs.errors import Fault
from rules.packs.layering import decision_factor, resolve
from rules.packs.linter import lint
from rules.packs.methods import GroupMethods
from rules.packs.model import Example, PackEdition, Proof, Trigger
from rules.packs.reach import can_be, may_be_unknown
from rules.packs.triggers import Situation, judge
from rules.verdict import MET, NOT_MET, Truth, Verdict

# What the warnings about a trigger say is missing.
_TRUTH_WORDS = {
    "true": "no example in which it asks for its procedure",
    "false": "no example in which it asks for nothing",
    "unknown": "no example in which a fact is missing",
}
_SIDE_WORDS = {MET: "no example whose value fulfils it", NOT_MET: "no example whose value breaks it"}


def review(
    edition: PackEdition, beside: tuple[PackEdition, ...] = (), methods: GroupMethods | None = None
) -> tuple[Fault, ...]:
    """Every fault and warning of one edition in the company of the packs ``beside`` it, in line order.

    Errors forbid publishing: those of the linter, and the codes ``example_failed`` and ``example_not_run``.
    Warnings are acknowledged by name: ``trigger:<id>/<truth>``, ``limit:<procedure or group>/<proof>/
    <argument>`` and, with ``methods``, ``capability:<procedure or group>/<proof>/<argument>``.
    """
    company = tuple(other for other in beside if other.pack != edition.pack)
    found = [
        *lint(edition, company),
        *_failing(edition, company),
        *_triggers(edition, company),
        *_limits(edition, company),
    ]
    if methods is not None:
        z = decision_factor((edition, *company))
        found += [_as_warning(one) for one in capabilities(edition, methods, z) if one.never]
    return tuple(sorted(found))


def errors_of(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    """Those that forbid publishing."""
    return tuple(fault for fault in faults if fault.severity == "error")


def _failing(edition: PackEdition, company: tuple[PackEdition, ...]) -> Iterator[Fault]:
    for result in run_examples(edition, company):
        if result.outcome != "ok":
            yield Fault(
                line=result.line,
                message=f'example "{result.name}": {result.message}',
                code=f"example_{result.outcome}",
                expected="that what the example expects comes out, or another example",
                found=result.message,
            )


def _as_warning(one: Capability) -> Fault:
    return Fault(
        line=one.line,
        message=one.text,
        code="capability",
        expected="a method and an instrument that can show it at every place, or a car sent elsewhere",
        found="; ".join(f"{left.place}: {left.words}" for left in one.places if left.never),
        severity="warning",
        name=one.name,
    )


# ------------------------------------------------------------------ triggers


def _triggers(edition: PackEdition, company: tuple[PackEdition, ...]) -> Iterator[Fault]:
    seen = _seen_truths(edition, company)
    for trigger in edition.triggers:
        for truth in _possible_truths(trigger, edition):
            if (trigger.id, truth) not in seen:
                yield Fault(
                    line=trigger.line,
                    message=f"trigger {trigger.id}: {_TRUTH_WORDS[truth]}",
                    code="trigger_not_exercised",
                    expected="an example for each: it asks, it does not ask, a fact is missing",
                    found=f"none that comes out {truth}",
                    severity="warning",
                    name=f"trigger:{trigger.id}/{truth}",
                )


def _possible_truths(trigger: Trigger, edition: PackEdition) -> list[Truth]:
    """What an example could bring about at all: a trigger for every job is never false nor unknown."""
    truths: list[Truth] = ["true"]
    if can_be(trigger.when, False, edition):
        truths.append("false")
        if may_be_unknown(trigger.when):
            truths.append("unknown")
    return truths


def _seen_truths(edition: PackEdition, company: tuple[PackEdition, ...]) -> set[tuple[str, Truth]]:
    seen: set[tuple[str, Truth]] = set()
    for example in edition.examples:
        if is_about_proof(example):
            continue
        facts = example_facts(example, edition)
        vehicle = facts.vehicle
        of_it = (vehicle.make, vehicle.model_year, vehicle.model)
        if not edition.covers(*of_it):
            continue
        situation = Situation.of(facts, covering((*company, edition), *of_it))
        for trigger in edition.triggers:
            seen.add((trigger.id, judge(trigger.when, situation).truth))
    return seen


# ------------------------------------------------------------------ limits


@dataclass(frozen=True, slots=True, kw_only=True)
class _Exercised:
    """The verdicts that examples brought about for one limit."""

    line: int
    text: str
    verdicts: frozenset[Verdict]


def _limits(edition: PackEdition, company: tuple[PackEdition, ...]) -> Iterator[Fault]:
    """A limit that is taken over from a group as it stands is exercised wherever the group is used."""
    seen = _seen_verdicts(edition, company)
    found: dict[str, _Exercised] = {}
    for procedure in edition.procedures:
        for proof in procedure.proofs:
            for argument, text in _limit_texts(proof).items():
                name = f"{owner(proof, procedure, edition)}/{proof.id}/{argument}"
                known = found.get(name)
                verdicts = seen.get((procedure.id, proof.id, argument), frozenset())
                before = known.verdicts if known is not None else frozenset()
                found[name] = _Exercised(line=proof.line, text=text, verdicts=before | verdicts)
    for name, one in found.items():
        missing = [words for verdict, words in _SIDE_WORDS.items() if verdict not in one.verdicts]
        if missing:
            yield Fault(
                line=one.line,
                message=f"limit {name}, {one.text}: {' and '.join(missing)}",
                code="limit_not_exercised",
                expected="an example with a value inside the limit and one with a value outside",
                found=", ".join(sorted(one.verdicts)) or "no example with a value",
                severity="warning",
                name=f"limit:{name}",
            )


def _limit_texts(proof: Proof) -> dict[str, str]:
    """The limits of a proof that examples can exercise, as written; of a drive its counted time."""
    texts: dict[str, str] = {}
    for way in proof.alternatives or (proof,):
        texts.update({name: limit.text for name, limit in limits_of(way).items()})
        if way.check == "drive_log":
            total = way.arguments.get("total_time")
            texts["total_time"] = getattr(total, "text", "")
    return texts


def _seen_verdicts(
    edition: PackEdition, company: tuple[PackEdition, ...]
) -> dict[tuple[str, str, str], frozenset[Verdict]]:
    editions = resolve((*company, edition))
    z = decision_factor(editions)
    seen: dict[tuple[str, str, str], frozenset[Verdict]] = {}
    for example in edition.examples:
        for argument, verdict in _parts(example, editions, z):
            key = (str(example.given.get("procedure")), str(example.given.get("proof")), argument)
            seen[key] = seen.get(key, frozenset()) | {verdict}
    return seen


def _parts(example: Example, editions: tuple[PackEdition, ...], z: float) -> Iterator[tuple[str, Verdict]]:
    proof = proof_of(example, editions) if is_about_proof(example) else None
    if proof is None:
        return
    try:
        rows = decided_rows(example, proof, z)
    except NotDecidableError:
        return
    for row in rows:
        yield from row.parts.items()
