"""Judging again: the enclosed facts by the enclosed rule texts, every verdict compared with the sealed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from rules.assess import assess
from rules.canonical import PlainError, canonical_bytes, from_plain, to_plain
from rules.facts import JobFacts
from rules.packs.errors import PackError
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack
from rules.result import Assessment
from rules.seal.enclosed import ASSESSMENT_NAME, FACTS_NAME, Enclosed, PartError, read_object
from rules.seal.entries import EntryError, is_text_only, rebuild
from rules.seal.manifest_check import is_withheld
from rules.seal.report import Line, differs, judged, named, not_checked

WHAT = "verdicts"
_Verdicts = dict[tuple[str, str], tuple[str, tuple[str, ...]]]


@dataclass(frozen=True, slots=True)
class _Read:
    facts: JobFacts
    told: Assessment
    packs: PackSet
    # Withheld entries that a verdict may rest on; and whether any entry of facts or judgement is withheld.
    missing: tuple[str, ...]
    is_whole: bool


def replay_line(enclosed: Enclosed) -> Line:
    """Judges the enclosed facts by the enclosed packs again and compares every verdict.

    Where facts are withheld, only proofs that come out as sealed all the same are said to agree; the others
    are not judged again.
    """
    if enclosed.form == 1 and (is_withheld(enclosed, FACTS_NAME) or is_withheld(enclosed, ASSESSMENT_NAME)):
        return not_checked(WHAT, "Not judged again: the facts are withheld.")
    try:
        read = _read(enclosed)
    except (KeyError, ValueError, TypeError, PlainError, PackError, PartError, EntryError) as error:
        withheld = _withheld(enclosed)
        if withheld and not isinstance(error, PackError):
            return not_checked(WHAT, f"Not judged again: {named(withheld)} is withheld.")
        return differs(WHAT, f"The data cannot be read: {error}", FACTS_NAME)
    again = assess(read.packs, read.facts, as_of=read.told.gate_at)
    if again.engine_version != read.told.engine_version:
        return not_checked(
            WHAT, f"Judged by engine {read.told.engine_version}; this is engine {again.engine_version}."
        )
    if read.missing:
        return _compare_partly(read, again)
    return _compare(read, again)


def _withheld(enclosed: Enclosed) -> list[str]:
    names = [path for path in enclosed.withheld() if path.startswith(("facts/", "assessment/"))]
    return names + [name for name in (FACTS_NAME, ASSESSMENT_NAME) if is_withheld(enclosed, name)]


def _read(enclosed: Enclosed) -> _Read:
    shown = enclosed.values()
    withheld = [path for path in enclosed.withheld() if path.startswith(("facts/", "assessment/"))]
    return _Read(
        facts=from_plain(JobFacts, _plain(enclosed, "facts", FACTS_NAME, shown)),
        told=from_plain(Assessment, _plain(enclosed, "assessment", ASSESSMENT_NAME, shown)),
        packs=pack_set(enclosed),
        missing=tuple(path for path in withheld if not is_text_only(path)),
        is_whole=not withheld,
    )


def _plain(enclosed: Enclosed, prefix: str, name: str, shown: Mapping[str, Any]) -> dict[str, Any]:
    if name in enclosed.files:
        return read_object(enclosed.files[name], name)
    if not is_withheld(enclosed, name):
        raise PartError(f"{name} is missing")
    return rebuild(prefix, shown)


def pack_set(enclosed: Enclosed) -> PackSet:
    """The enclosed editions and the days on which some of them were withdrawn.

    Raises:
        KeyError, ValueError: a listed text is not there, or its entry has another form.
        PackError: a text that is no pack.
    """
    editions: list[PackEdition] = []
    withdrawn: dict[tuple[str, int], date] = {}
    for entry in enclosed.entries:
        if not entry["path"].startswith("packs/"):
            continue
        name = entry["path"].removeprefix("packs/")
        edition = read_pack(enclosed.files[name], name=name)
        editions.append(edition)
        day = entry["value"].get("withdrawn_on")
        if day is not None:
            withdrawn[edition.pack, edition.edition] = date.fromisoformat(day)
    return PackSet(editions=tuple(editions), withdrawn_on=withdrawn)


def _compare(read: _Read, again: Assessment) -> Line:
    told = read.told
    faults = [f"{key[0]} {key[1]}" for key in sorted(_turned(told, again))]
    if _gate(told) != _gate(again):
        faults.append("verdict and gate of the whole record")
    # The hash of the facts was taken of the record's own form; all else must be equal to the last digit.
    if not faults and read.is_whole and not _is_equal(told, again):
        faults.append(ASSESSMENT_NAME)
    good = f"{len(told.findings)} proofs judged again give the same verdicts."
    if not read.is_whole:
        good = f"{good} Words that are withheld were not compared."
    return judged(WHAT, faults, good, "Judged again, the enclosed data give something else.")


def _compare_partly(read: _Read, again: Assessment) -> Line:
    """Nothing here can say that a verdict is wrong: what is withheld may have made the difference."""
    turned = _turned(read.told, again)
    same = len(_verdicts(read.told).keys() - turned)
    open_ones = [f"{key[0]} {key[1]}" for key in sorted(turned)]
    told = f"{same} proofs judged again give the same verdicts."
    if open_ones:
        told += f" Not judged again: {named(open_ones)}."
    return not_checked(WHAT, f"{told} Withheld: {named(read.missing)}.")


def _is_equal(told: Assessment, again: Assessment) -> bool:
    same_hash = replace(again, facts_sha256=told.facts_sha256)
    return canonical_bytes(to_plain(told)) == canonical_bytes(to_plain(same_hash))


def _gate(assessment: Assessment) -> tuple[object, ...]:
    return assessment.verdict, assessment.disposition, assessment.left_against_hold


def _turned(told: Assessment, again: Assessment) -> set[tuple[str, str]]:
    before, after = _verdicts(told), _verdicts(again)
    return {key for key in before.keys() | after.keys() if before.get(key) != after.get(key)}


def _verdicts(assessment: Assessment) -> _Verdicts:
    return {
        (finding.procedure_id, finding.proof_id): (finding.verdict, finding.outcome.reasons)
        for finding in assessment.findings
    }
