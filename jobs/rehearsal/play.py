"""Playing one scenario from its first record to its last part."""

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.db.models import Model

from jobs import outbox
from jobs.access import actor_for_person
from jobs.demo.world import world_rows
from jobs.errors import DomainError
from jobs.intake.remembered import remembering
from jobs.models import OutboxEntry, Person, scope, unscoped
from jobs.moment import machine_now, standing_at
from jobs.rehearsal import play_decisions, play_desk, play_files, play_sessions, play_work
from jobs.rehearsal.compare import Difference, differences_of
from jobs.rehearsal.faults import Faults, ScenarioError, Spot
from jobs.rehearsal.job_kinds import JOB_KINDS
from jobs.rehearsal.kinds import DESK_KINDS, Kind
from jobs.rehearsal.report import job_report
from jobs.rehearsal.scratch import cache_folder, fixtures, scratch
from jobs.rehearsal.script import Act, Part, Scenario
from jobs.rehearsal.stage import Call, JobOnStage, Stage, call_for, in_scope, set_stage
from jobs.rehearsal.times import When
from jobs.rehearsal.world_rows import pack_reader, with_changes
from jobs.services.assessment import request_assessment
from jobs.services.replay import replay_job
from jobs.tasks import assess_job, build_packet, look_ahead, note_later_event, print_addition

Player = Callable[[Call], Model | None]
PLAYERS: Final[Mapping[str, Player]] = {
    "orders": play_decisions.play_order,
    "photos": play_files.play_photo,
    "files": play_files.play_file,
    "climates": play_files.play_climate,
    "drives": play_files.play_drive,
    "voltages": play_files.play_voltage,
    "scans": play_files.play_scan,
    "identity": play_work.play_identity,
    "fitted": play_work.play_fitted,
    "estimate": play_work.play_estimate,
    "mappings": play_work.play_mapping,
    "operations": play_work.play_operation,
    "withdrawals": play_work.play_withdrawal,
    "glass": play_work.play_glass,
    "closings": play_work.play_closing,
    "reopenings": play_work.play_reopening,
    "lookups": play_work.play_lookup,
    "changes": play_work.play_change,
    "sublets": play_work.play_sublet,
    "sessions": play_sessions.play_session,
    "session_ends": play_sessions.play_session_end,
    "keys": play_sessions.play_keys,
    "targets": play_work.play_target,
    "readings": play_work.play_readings,
    "lamps": play_work.play_lamps,
    "statements": play_work.play_statement,
    "functions": play_work.play_function,
    "set_asides": play_decisions.play_set_aside,
    "compared_photos": play_decisions.play_compared_photos,
    "explanations": play_decisions.play_explanation,
    "waivers": play_decisions.play_waiver,
    "refusals": play_decisions.play_refusal,
    "signatures": play_decisions.play_signature,
    "releases": play_decisions.play_release,
    "deliveries": play_decisions.play_delivery,
    "comparisons": play_decisions.play_comparison,
    "screens": play_decisions.play_screen,
    "surveys": play_desk.play_survey,
    "voided_surveys": play_desk.play_voided_survey,
    "certificates": play_decisions.play_certificate,
    "instrument_events": play_decisions.play_instrument_event,
    "checks_before_use": play_decisions.play_check_before_use,
    "withdrawn_packs": play_decisions.play_withdrawn_pack,
}
# What rows that fit no table come to.
_UNMAKEABLE: Final = (
    DatabaseError, ValidationError, AttributeError, KeyError, OSError, TypeError, ValueError,
)  # fmt: skip
_ORDER: Final = Kind(cast="front_desk")
_RANK: Final = {name: place for place, name in enumerate(("orders", *DESK_KINDS, *JOB_KINDS))}
_TASKS: Final[dict[str, Any]] = {
    task.name: task for task in (assess_job, build_packet, look_ahead, note_later_event, print_addition)
}


@dataclass
class Rehearsed:
    """What came of one scenario."""

    scenario: Scenario
    parts: list[dict[str, Any]] = field(default_factory=list)
    refused: list[dict[str, Any]] = field(default_factory=list)
    differences: list[Difference] = field(default_factory=list)
    kept_in: str = ""

    @property
    def holds(self) -> bool:
        return not self.differences

    def as_json(self) -> dict[str, Any]:
        told = {
            "file": self.scenario.file,
            "scenario": self.scenario.title,
            "holds": self.holds,
            "differences": [item.as_json() for item in self.differences],
            "refused": self.refused,
            "parts": self.parts,
        }
        return {**told, "kept_in": self.kept_in} if self.kept_in else told


def rehearse(scenario: Scenario, *, server: str = "", keep: bool = False) -> Rehearsed:
    """Plays a scenario in a database of its own.

    Raises:
        ScenarioError: the world that it asks for cannot be made.
    """
    base = world_rows(fixtures())
    rows = with_changes(base, scenario.world, scenario.world_spot)
    packs = pack_reader(rows, (scenario.folder, fixtures() / "packs"))
    with ExitStack() as stack:
        stack.enter_context(remembering(cache_folder()))
        try:
            opened = stack.enter_context(
                scratch(rows, changed=bool(scenario.world), pack_bytes=packs, server=server, keep=keep)
            )
            stage = set_stage(scenario, rows)
        except (*_UNMAKEABLE, DomainError) as error:
            raise _no_world(scenario, error) from error
        rehearsed = _Player(stage).play()
    rehearsed.kept_in = opened.database if keep else ""
    return rehearsed


def _no_world(scenario: Scenario, error: Exception) -> ScenarioError:
    faults = Faults()
    faults.add(
        scenario.world_spot,
        "world",
        expected="a world that can be made",
        found=f"{type(error).__name__}: {error}",
        code="world",
    )
    return ScenarioError(faults.found)


@dataclass(frozen=True, kw_only=True)
class _Due:
    """An act in its place in the story."""

    as_of: datetime
    rank: int
    place: int
    call: Call


class _Player:
    """Plays what is due up to each part, then lets the worker judge."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self.rehearsed = Rehearsed(stage.scenario)

    def play(self) -> Rehearsed:
        due = self._timeline()
        for part, at in self._parts(due):
            while due and due[0].as_of <= at:
                self._play(due.pop(0).call)
            self._judge(part, at)
        # What a baseline goes on to tell after the last part is no business of a file that stops before it.
        for left in (item for item in due if item.call.act.spot.file == self.stage.scenario.file):
            self._differ(left.call.act, "is later than the last part", "not played", job=left.call.job_name)
        self._replay()
        return self.rehearsed

    def _replay(self) -> None:
        """The last judgement of every job is reached again from the facts that were kept with it."""
        for job in self.stage.jobs.values():
            if job.row is None or self._agrees(job):
                continue
            self.rehearsed.differences.append(
                Difference(
                    spot=job.script.spot,
                    part="",
                    job=job.script.id,
                    where="replay",
                    expected="the judgement on record",
                    found="another one",
                )
            )

    @staticmethod
    def _agrees(job: JobOnStage) -> bool:
        with scope(job.organisation.pk):
            return not job.job.assessments.exists() or replay_job(job.job).agrees

    def _timeline(self) -> list[_Due]:
        acts: list[tuple[Act, JobOnStage | None]] = [(act, None) for act in self.stage.scenario.desk]
        for job in self.stage.jobs.values():
            acts.append((_order_of(job), job))
            acts += [(act, job) for act in job.script.acts]
        found = []
        for place, (act, owner) in enumerate(acts):
            try:
                call = call_for(self.stage, act, owner)
            except DomainError as refusal:
                self._refused(act, refusal, job=owner.script.id if owner is not None else "")
                continue
            found.append(_Due(as_of=call.as_of, rank=_RANK[act.section], place=place, call=call))
        return sorted(found, key=lambda item: (item.as_of, item.rank, item.place))

    def _parts(self, due: list[_Due]) -> list[tuple[Part, datetime]]:
        zone = next(iter(self.stage.jobs.values())).zone
        last = max((item.as_of for item in due), default=None)
        found = []
        for part in self.stage.scenario.parts:
            if part.at is not None:
                found.append((part, part.at.on(self.stage.scenario.day, zone)))
            elif last is not None:
                found.append((part, last + timedelta(minutes=1)))
        return sorted(found, key=lambda item: item[1])

    # -------------------------------------------------------------- one record

    def _play(self, call: Call) -> None:
        act = call.act
        try:
            with in_scope(call), transaction.atomic():
                self._compare(call)
                row = PLAYERS[act.section](call)
        except DomainError as refusal:
            self._refused(act, refusal, job=call.job_name)
            return
        if act.refused:
            self._differ(act, f"refused: {act.refused}", "accepted", job=call.job_name)
        if row is not None:
            self.stage.rows.setdefault((call.job_name, act.section, act.name), row)
            self.stage.told[str(row.pk)] = act.path
        if act.section == "deliveries":
            with standing_at(call.as_of):
                self._work_off()

    def _compare(self, call: Call) -> None:
        """A tablet with signal compares its clock whenever it sends something."""
        script = self.stage.clock(call.device)
        own = call.device.equipment is None
        if own and script.compared and call.act.section not in ("comparisons", "screens"):
            self.stage.compare(call.device, call.actor, call.as_of, call.zone, script.delay)

    def _refused(self, act: Act, refusal: DomainError, *, job: str) -> None:
        told = {"job": job, "record": act.path, "code": refusal.code, "message": refusal.message}
        self.rehearsed.refused.append(told)
        if refusal.code != act.refused:
            expected = f"refused: {act.refused}" if act.refused else "accepted"
            self._differ(act, expected, f"refused: {refusal.code}: {refusal.message}", job=job)

    def _differ(self, act: Act, expected: str, found: str, *, job: str) -> None:
        self.rehearsed.differences.append(
            Difference(spot=act.spot, part="", job=job, where=act.path, expected=expected, found=found)
        )

    # -------------------------------------------------------------- one part

    def _judge(self, part: Part, at: datetime) -> None:
        jobs: dict[str, Any] = {}
        with standing_at(at):
            for name, job in self.stage.jobs.items():
                if job.row is not None and (name in part.expect or not part.expect):
                    self._ask(job, at)
            self._work_off()
        for name, job in self.stage.jobs.items():
            if part.expect and name not in part.expect:
                continue
            if job.row is not None:
                with scope(job.organisation.pk):
                    jobs[name] = job_report(job, self.stage.told)
            self.rehearsed.differences += differences_of(
                part, name, part.expect.get(name, ()), jobs.get(name), zone=job.zone, day=job.script.day
            )
        zone = next(iter(self.stage.jobs.values())).zone
        told = {"part": part.name, "at": at.astimezone(zone).isoformat(), "jobs": jobs}
        self.rehearsed.parts.append(told)

    def _ask(self, job: JobOnStage, at: datetime) -> None:
        login = job.script.cast["manager"]
        with unscoped():
            person = Person.objects.select_related("organisation").filter(login=login).first()
        if person is None or job.row is None:
            return
        with scope(job.organisation.pk):
            actor = actor_for_person(person, as_of=at)
            request_assessment(job=job.row, actor=actor, as_of=at)

    def _work_off(self) -> None:
        """What waits in the outbox, by the worker's own tasks; the pause for collecting is over at once."""
        while True:
            with unscoped():
                OutboxEntry.objects.filter(state="waiting", attempts=0).update(available_at=None)
            entry = outbox.next_ready(at=machine_now())
            if entry is None:
                return
            state = _TASKS[entry.task].apply(args=(entry.pk,), throw=True).get()
            if state != "done":
                spot = Spot(self.stage.scenario.file, 1)
                self.rehearsed.differences.append(
                    Difference(
                        spot=spot, part="", job="", where=entry.task, expected="done", found=str(state)
                    )
                )


def _order_of(job: JobOnStage) -> Act:
    order = job.script.order
    at: When = order["at"]
    return Act(
        section="orders",
        name="order",
        kind=_ORDER,
        spot=job.script.spot,
        at=at,
        body=order,
        by=order["by"] or "",
    )
