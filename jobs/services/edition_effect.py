"""What a new or withdrawn edition would have said of jobs on record: judged again, read-only, in batches."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Final
from uuid import UUID

from django.db.models import QuerySet

from jobs.errors import Conflict
from jobs.facts import PackShelf
from jobs.models import Assessment, Job, Organisation, PackEditionOnFile
from jobs.services.facts_on_file import facts_rows, unpacked
from jobs.services.pack_review import readable
from rules import ENGINE_VERSION
from rules.assess import assess
from rules.facts import JobFacts
from rules.look_back import Change, Kind, Tally, compare, kinds_of, under_text, without_pack
from rules.packs.model import PackEdition, PackSet
from rules.reading_back import StoredFormError, read_assessment
from rules.result import Assessment as Judgement

BATCH: Final = 50
DONE: Final = ("delivered", "archived")
WITHDRAWN: Final = "withdrawn"


# Texts for different sets of governing editions are kept made while one look-back runs (project default).
MOST_TEXTS: Final = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One job. ``problem`` says why it could not be judged again; it then has no changes.

    ``packs``: the editions that the archived judgement rests on.
    """

    job_id: UUID
    number: str
    is_done: bool
    packs: tuple[tuple[str, int], ...]
    changes: tuple[Change, ...] = ()
    problem: str = ""

    @property
    def kinds(self) -> tuple[Kind, ...]:
        return () if self.problem else kinds_of(self.changes)


# Judges the facts of one archived judgement again; gets the packs of that day.
JudgeAgain = Callable[[JobFacts, PackSet, Judgement], Judgement]


def look_back(organisation: Organisation, jobs: QuerySet[Job], again: JudgeAgain) -> Iterator[Row]:
    """Judges every job that was ever judged once more, from the facts kept with its last judgement.

    Nothing is written. Memory is that of one batch, and each batch takes one query beside that for its jobs.
    """
    shelf = PackShelf(organisation)
    judged = jobs.filter(current_assessment__isnull=False).order_by("pk").select_related("current_assessment")
    for batch in _batches(judged.iterator(chunk_size=BATCH)):
        stored = facts_rows(archived for _, archived in batch)
        for job, archived in batch:
            try:
                facts = unpacked(stored.get((archived.job_id, archived.facts_sha256)))
                changes = _changes(archived, facts, shelf.at(archived.computed_at), again)
            except (Conflict, StoredFormError) as error:
                yield _row(job, archived, problem=str(error))
            else:
                yield _row(job, archived, changes)


def _batches(jobs: Iterator[Job]) -> Iterator[list[tuple[Job, Assessment]]]:
    while batch := list(islice(jobs, BATCH)):
        yield [(job, job.current_assessment) for job in batch if job.current_assessment is not None]


def _row(job: Job, archived: Assessment, changes: tuple[Change, ...] = (), *, problem: str = "") -> Row:
    return Row(
        job_id=job.pk,
        number=job.number,
        is_done=job.state in DONE,
        packs=tuple((str(name), int(edition)) for name, edition, _ in archived.packs),
        changes=changes,
        problem=problem,
    )


def _changes(archived: Assessment, facts: JobFacts, packs: PackSet, again: JudgeAgain) -> tuple[Change, ...]:
    if archived.engine_version == ENGINE_VERSION:
        before = read_assessment(archived.result.encode(), sha256=archived.result_sha256)
    else:
        # Another engine's result: what this one says of the same facts is compared, so that only the text
        # makes the difference.
        before = assess(packs, facts, as_of=archived.gate_at)
    return compare(before, again(facts, packs, before))


# ------------------------------------------------------------------ one edition


def judged_by(edition: PackEdition) -> JudgeAgain:
    """Judges under another text of a pack."""
    made: dict[object, PackSet] = {}

    def again(facts: JobFacts, packs: PackSet, archived: Judgement) -> Judgement:
        governed = tuple(
            (item.procedure_id, item.edition) for item in archived.procedures if item.pack == edition.pack
        )
        # The shelf keeps one object for one state of the packs, so its identity stands for its content.
        key = (id(packs), governed)
        if key not in made:
            if len(made) >= MOST_TEXTS:
                made.clear()
            made[key] = under_text(packs, edition, archived)
        return assess(made[key], facts, as_of=archived.gate_at)

    return again


def judged_without(pack: str) -> JudgeAgain:
    """Judges as if no edition of the pack were on file."""
    return lambda facts, packs, archived: assess(without_pack(packs, pack), facts, as_of=archived.gate_at)


def effect_of(row: PackEditionOnFile, jobs: QuerySet[Job]) -> Iterator[Row]:
    """What the edition would say of every job of a vehicle it covers; of a withdrawn one: what is left
    without it.

    Raises:
        Refused: ``pack_faulty``.
    """
    edition = readable(row)
    again = judged_without(row.pack) if row.state == WITHDRAWN else judged_by(edition)
    return look_back(row.organisation, _covered(edition, jobs), again)


def is_listed(found: Row, row: PackEditionOnFile) -> bool:
    """Whether the job belongs on the list of the look-back: it would be judged otherwise, or could not be
    judged again; and of a text withdrawn for safety every job that it governed, whatever comes out."""
    if found.problem or found.changes:
        return True
    return row.withdrawn_severity == "safety" and (row.pack, row.edition) in found.packs


def _covered(edition: PackEdition, jobs: QuerySet[Job]) -> QuerySet[Job]:
    if edition.makes:
        jobs = jobs.filter(order__vehicle__make__in=edition.makes)
    if edition.models:
        jobs = jobs.filter(order__vehicle__model__in=edition.models)
    if edition.model_years is not None:
        jobs = jobs.filter(order__vehicle__model_year__range=edition.model_years)
    return jobs


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """Counts over finished and open jobs, and the jobs that are listed, at most as many as asked for.

    ``next_after``: the job after which another call goes on; None where all were looked at.
    """

    done: Tally
    open: Tally
    rows: tuple[Row, ...]
    next_after: UUID | None = None

    @property
    def line(self) -> str:
        """``Of 212 archived jobs, 9 would not meet the new voltage, 140 lack the new photo.``"""
        said = self.done.line("archived")
        return said if not self.open.jobs else f"{said} {self.open.line('open')}"


def effect_page(
    row: PackEditionOnFile, jobs: QuerySet[Job], *, after: UUID | None = None, most: int = BATCH
) -> Effect:
    """The effect on the next ``most`` jobs after the job ``after``, in the order of their ids."""
    jobs = _covered(readable(row), jobs)
    if after is not None:
        jobs = jobs.filter(pk__gt=after)
    page = list(jobs.order_by("pk").values_list("pk", flat=True)[: most + 1])
    wanted = jobs.filter(pk__in=page[:most])
    found = counted(row, effect_of(row, wanted))
    return Effect(
        done=found.done,
        open=found.open,
        rows=found.rows,
        next_after=page[most - 1] if len(page) > most else None,
    )


def counted(row: PackEditionOnFile, found: Iterator[Row], *, most_rows: int | None = None) -> Effect:
    """Counts of everything that ``found`` gives; of the listed rows at most ``most_rows`` are kept."""
    done, still_open = Tally(), Tally()
    rows: list[Row] = []
    for item in found:
        tally = done if item.is_done else still_open
        if item.problem:
            tally.unusable += 1
        else:
            tally.add(item.changes)
        if is_listed(item, row) and (most_rows is None or len(rows) < most_rows):
            rows.append(item)
    return Effect(done=done, open=still_open, rows=tuple(rows))
