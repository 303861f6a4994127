"""Reaching an archived verdict again: from the facts kept with it, by the texts it was judged by."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from jobs.errors import Conflict
from jobs.facts import pack_set_for
from jobs.models import Assessment, Job
from jobs.services.assessment import packs_hash
from jobs.services.facts_on_file import kept_facts
from rules import ENGINE_VERSION
from rules.assess import assess
from rules.canonical import sha256_hex
from rules.packs.model import PackSet
from rules.record_bytes import record_bytes

NOT_ASKED: Final = "not asked for"
_WHOLE: Final = ("verdict", "disposition", "statement", "left_against_hold")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One proof, or one statement about the whole record, archived and now."""

    what: str
    archived: str
    now: str

    @property
    def same(self) -> bool:
        return self.archived == self.now


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """Attributes:
    identical: every byte of the result is the same; None where another engine made the archived one, so that
        only verdicts can be compared.
    """

    job: str
    assessment: str
    gate_at: datetime
    engine_then: str
    engine_now: str
    packs: tuple[tuple[str, int, str], ...]
    archived_sha256: str
    now_sha256: str
    identical: bool | None
    lines: tuple[Line, ...]
    notes: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """The same result, as far as it can be compared."""
        return self.identical is True or (self.identical is None and all(line.same for line in self.lines))


def assessment_of(job: Job, as_of: datetime | None = None) -> Assessment:
    """The last judgement of the job, or the last with a gate instant at or before ``as_of``.

    Raises:
        Conflict: ``never_judged``.
    """
    rows = Assessment.objects.filter(job=job).order_by("-gate_at", "-computed_at")
    found = (rows if as_of is None else rows.filter(gate_at__lte=as_of)).first()
    if found is None:
        raise Conflict("never_judged", "There is no judgement of this job by then.")
    return found


def replay_job(job: Job, *, as_of: datetime | None = None, packs: PackSet | None = None) -> Replay:
    """Judges the job again as its archived judgement did; nothing is written.

    Args:
        job: its organisation's scope is open.
        as_of: which judgement; None: the last.
        packs: texts to judge by instead of those on file then.

    Raises:
        Conflict: ``never_judged``, ``facts_not_kept``, ``facts_damaged``, ``result_damaged``.
    """
    return replay(assessment_of(job, as_of), packs=packs)


def replay(kept: Assessment, *, packs: PackSet | None = None) -> Replay:
    """The same for one judgement."""
    archived = _archived_result(kept)
    facts = kept_facts(kept)
    used = packs
    if used is None:
        used = pack_set_for(kept.organisation, facts, kept.gate_at, known_at=kept.computed_at)
    again = assess(used, facts, as_of=kept.gate_at)
    data = record_bytes(again)
    same_engine = kept.engine_version == ENGINE_VERSION
    return Replay(
        job=kept.job.number,
        assessment=str(kept.pk),
        gate_at=kept.gate_at,
        engine_then=kept.engine_version,
        engine_now=ENGINE_VERSION,
        packs=again.packs,
        archived_sha256=kept.result_sha256,
        now_sha256=sha256_hex(data),
        identical=data == kept.result.encode() if same_engine else None,
        lines=_lines(archived, json.loads(data)),
        notes=tuple(_notes(kept, used, given=packs is not None)),
    )


def _archived_result(kept: Assessment) -> dict[str, Any]:
    """As plain data: the archived result of another engine may have other fields."""
    if sha256_hex(kept.result.encode()) != kept.result_sha256:
        raise Conflict("result_damaged", "The archived result does not have the hash that was recorded.")
    plain: dict[str, Any] = json.loads(kept.result)
    return plain


def _lines(archived: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Line, ...]:
    was, becomes = _told(archived), _told(now)
    return tuple(
        Line(what=what, archived=was.get(what, NOT_ASKED), now=becomes.get(what, NOT_ASKED))
        for what in dict.fromkeys((*was, *becomes))
    )


def _told(result: Mapping[str, Any]) -> dict[str, str]:
    proofs = {
        f"{item['procedure_id']} {item['proof_id']}": " ".join(
            (item["outcome"]["verdict"], *item["outcome"]["reasons"])
        )
        for item in result["findings"]
    }
    states = {f"requirement {item['procedure_id']}": str(item["state"]) for item in result["requirements"]}
    return proofs | states | {f"whole record, {name}": str(result[name]) for name in _WHOLE}


def _notes(kept: Assessment, used: PackSet, *, given: bool) -> list[str]:
    notes = []
    if given:
        notes.append("Judged by the given pack files, not by those on file then.")
    elif packs_hash(used) != kept.packs_sha256:
        notes.append("The packs on file are not those of that day; the difference may come from there.")
    if kept.engine_version != ENGINE_VERSION:
        notes.append(
            f"Judged by engine {kept.engine_version}; this is engine {ENGINE_VERSION}: verdicts are compared,"
            " bytes are not."
        )
    return notes
