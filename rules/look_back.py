"""What another text would say of a finished job: two judgements compared, and the same over many jobs."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Final, Literal

from rules.packs.model import PackEdition, PackSet, Procedure
from rules.result import Assessment
from rules.verdict import MET, NOT_MET, NOT_SHOWN, Verdict

Kind = Literal[
    "same",
    "newly_not_met",
    "newly_not_shown",
    "newly_met",
    "requirement_appears",
    "requirement_disappears",
]
KINDS: Final[tuple[Kind, ...]] = (
    "newly_not_met",
    "newly_not_shown",
    "requirement_appears",
    "requirement_disappears",
    "newly_met",
    "same",
)
NOT_IN_FORCE: Final = "Judged by a text that was not in force when the work was done."
# Nobody can have looked up a later text: these keep what the archived judgement found.
TEXT_CURRENT: Final = ("citation_given",)
# The one proof that stands for a requirement of which nobody can tell whether it exists.
UNTOLD: Final = "requirement"
# Short names of what a check is about, where the check's own name is not one.
_ABOUT: Final[Mapping[str, str]] = {
    "voltage_log": "voltage",
    "photo_set": "photo",
    "tyre_pressures": "tire pressures",
    "target_pose": "target position",
    "light_level": "light",
    "drive_log": "drive",
    "no_codes": "code check",
    "codes_compare": "comparison of codes",
    "thrust_angle": "thrust angle",
    UNTOLD: "requirement",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One proof, or one procedure (``proof_id`` empty), on which the two judgements differ.

    ``before`` and ``after`` are None where the proof is not asked for.
    """

    kind: Kind
    procedure_id: str
    proof_id: str
    check: str
    title: str
    before: Verdict | None
    after: Verdict | None

    @property
    def about(self) -> str:
        """``voltage``, ``photo``; for a whole procedure its title."""
        return self.title if not self.proof_id else _ABOUT.get(self.check, self.check.replace("_", " "))


def compare(before: Assessment, after: Assessment) -> tuple[Change, ...]:
    """Every proof and every requirement on which ``after`` differs from ``before``; empty: the same.

    A procedure that was not asked for and now is, or may be, is one change, whatever its proofs say; likewise
    one that no longer is. Reasons, numbers and sentences are not compared: they may differ with one verdict.
    """
    asked_before, asked_after = _asked(before), _asked(after)
    titles = {item.procedure_id: item.title for item in (*before.requirements, *after.requirements)}
    found = []
    for name in dict.fromkeys((*asked_before, *asked_after)):
        if name not in asked_before:
            found.append(_whole("requirement_appears", name, titles[name]))
        elif name not in asked_after:
            found.append(_whole("requirement_disappears", name, titles[name]))
        else:
            found += _proofs_compared(name, titles[name], asked_before[name], asked_after[name])
    return tuple(found)


def kinds_of(changes: tuple[Change, ...]) -> tuple[Kind, ...]:
    """The kinds of change of one job, the gravest first; ``same`` where there is none."""
    found = {item.kind for item in changes}
    return tuple(kind for kind in KINDS if kind in found) or ("same",)


Asked = Mapping[str, tuple[str, Verdict]]


def _asked(judged: Assessment) -> dict[str, Asked]:
    """Check and verdict of each proof, by procedure that is required or may be."""
    asked: dict[str, dict[str, tuple[str, Verdict]]] = {}
    for item in judged.requirements:
        if item.state == "required":
            asked.setdefault(item.procedure_id, {})
        elif item.state == "cannot_tell":
            asked.setdefault(item.procedure_id, {})[UNTOLD] = (UNTOLD, NOT_SHOWN)
    for finding in judged.findings:
        asked.setdefault(finding.procedure_id, {})[finding.proof_id] = (finding.check, finding.verdict)
    return dict(asked)


def _whole(kind: Kind, procedure_id: str, title: str) -> Change:
    return Change(
        kind=kind, procedure_id=procedure_id, proof_id="", check="", title=title, before=None, after=None
    )


def _proofs_compared(procedure_id: str, title: str, before: Asked, after: Asked) -> list[Change]:
    found = []
    for proof_id in dict.fromkeys((*before, *after)):
        check, was = before.get(proof_id, ("", None))
        new_check, now = after.get(proof_id, (check, None))
        kind = _kind(was, now)
        if kind != "same":
            found.append(
                Change(
                    kind=kind,
                    procedure_id=procedure_id,
                    proof_id=proof_id,
                    check=new_check,
                    title=title,
                    before=was,
                    after=now,
                )
            )
    return found


def _kind(before: Verdict | None, after: Verdict | None) -> Kind:
    """A proof that nobody asked for before counts as met then; one no longer asked for counts as met now."""
    was, now = before or MET, after or MET
    if was == now:
        return "same"
    if now == NOT_MET:
        return "newly_not_met"
    if now == NOT_SHOWN:
        return "newly_not_shown"
    return "newly_met"


# ------------------------------------------------------------------ another text


def under_text(packs: PackSet, text: PackEdition, archived: Assessment) -> PackSet:
    """The packs by which a finished job is judged under ``text``, whatever day its work was done.

    Every other pack stays as it was in force then; only where ``text`` builds on a later edition than that,
    the first such edition stands in. Proofs about the text that was looked up keep the text they had.
    """
    own = _keeping_lookups(text, packs, archived)
    kept = [item for item in packs.editions if item.pack != text.pack]
    for name, at_least in text.builds_on:
        kept = _founded(kept, name, at_least)
    withdrawn = {key: day for key, day in packs.withdrawn_on.items() if key[0] != text.pack}
    return PackSet(editions=(*kept, replace(own, in_force_from=date.min)), withdrawn_on=withdrawn)


def without_pack(packs: PackSet, pack: str) -> PackSet:
    """The packs as they would be without any edition of ``pack``: after its withdrawal."""
    return PackSet(
        editions=tuple(item for item in packs.editions if item.pack != pack),
        withdrawn_on={key: day for key, day in packs.withdrawn_on.items() if key[0] != pack},
    )


def _founded(editions: list[PackEdition], name: str, at_least: int) -> list[PackEdition]:
    able = sorted(
        (item for item in editions if item.pack == name and item.edition >= at_least),
        key=lambda item: item.in_force_from,
    )
    if not able:
        return editions
    others = [item for item in editions if item.pack != name]
    return [*others, replace(able[0], in_force_from=date.min), *able[1:]]


def _keeping_lookups(text: PackEdition, packs: PackSet, archived: Assessment) -> PackEdition:
    """``text`` with the lookups that each procedure asked for in the edition that governed it."""
    on_file = {(item.pack, item.edition): item for item in packs.editions}
    governed: dict[str, Procedure] = {}
    for result in archived.procedures:
        edition = on_file.get((result.pack, result.edition)) if result.pack == text.pack else None
        old = edition.procedure(result.procedure_id) if edition is not None else None
        if old is not None:
            governed[result.procedure_id] = old
    procedures = tuple(
        _with_old_lookup(item, governed[item.id]) if item.id in governed else item for item in text.procedures
    )
    return replace(text, procedures=procedures)


def _with_old_lookup(new: Procedure, old: Procedure) -> Procedure:
    """Every lookup as the old text asked for it; what only the new one asks to look up was not asked for."""
    lookups = tuple(proof for proof in old.proofs if proof.check in TEXT_CURRENT)
    rest = tuple(proof for proof in new.proofs if proof.check not in TEXT_CURRENT)
    return replace(new, proofs=(*lookups, *rest), cite=old.cite)


# ------------------------------------------------------------------ many jobs


@dataclass(slots=True)
class Tally:
    """Counts over many jobs, in memory that does not grow with their number."""

    jobs: int = 0
    unusable: int = 0
    kinds: dict[Kind, int] = field(default_factory=dict)
    abouts: dict[tuple[Kind, str, bool], int] = field(default_factory=dict)

    def add(self, changes: tuple[Change, ...]) -> None:
        """One job. It counts once for each kind, and once for each thing that is new to it."""
        self.jobs += 1
        for kind in kinds_of(changes):
            self.kinds[kind] = self.kinds.get(kind, 0) + 1
        keys = {(item.kind, item.about, item.before is None) for item in changes}
        for key in keys:
            self.abouts[key] = self.abouts.get(key, 0) + 1

    def line(self, what: str = "archived") -> str:
        """``Of 212 archived jobs, 9 would not meet the new voltage, 140 lack the new photo.``"""
        parts = [
            _part(kind, about, is_new, self.abouts[kind, about, is_new])
            for kind in KINDS
            for (its_kind, about, is_new) in sorted(self.abouts)
            if its_kind == kind
        ]
        jobs = "job" if self.jobs == 1 else "jobs"
        said = ", ".join(parts) if parts else "all would be judged the same"
        untold = "" if not self.unusable else f" {self.unusable} could not be judged again."
        return f"Of {self.jobs} {what} {jobs}, {said}.{untold}"


def _part(kind: Kind, about: str, is_new: bool, count: int) -> str:
    if kind == "newly_not_met":
        return f"{count} would not meet the new {about}"
    if kind == "newly_not_shown" and is_new:
        return f"{count} {'lacks' if count == 1 else 'lack'} the new {about}"
    if kind == "newly_not_shown":
        return f"{count} would no longer show the {about}"
    if kind == "newly_met":
        return f"{count} would now meet the {about}"
    if kind == "requirement_appears":
        return f"{count} would now need: {about}"
    return f"{count} would no longer need: {about}"
