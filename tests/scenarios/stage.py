"""The stage of the scenarios: API without sockets, the worker's own tasks in place, a clock that is set."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final

from django.apps import apps
from django.conf import settings
from django.test import Client, override_settings

from jobs import outbox
from jobs.demo.world import World, load_world
from jobs.models import OutboxEntry, unscoped
from jobs.moment import machine_now
from jobs.tasks import assess_job, build_packet, look_ahead, note_later_event, print_addition
from portal.demo.scene import Scene, SceneClock
from portal.demo.tablet import RefusedError, Tablet
from portal.demo.transport import Answer
from tests.record_guards import empty_guarded_tables

DAY: Final = date(2026, 5, 5)
ZONE: Final = "America/Chicago"
_TASKS: Final[dict[str, Any]] = {
    task.name: task for task in (assess_job, build_packet, look_ahead, note_later_event, print_addition)
}


@dataclass(frozen=True)
class Sent:
    """One request as it went out, and what came back."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes | None
    answer: Answer


@dataclass
class ClientTransport:
    """Tablets reach the API through Django's own client; everything sent is kept in order."""

    client: Client = field(default_factory=lambda: Client(raise_request_exception=False))
    sent: list[Sent] = field(default_factory=list)

    def send(self, method: str, path: str, headers: Mapping[str, str], body: bytes | None) -> Answer:
        plain = dict(headers)
        media_type = plain.pop("Content-Type", "application/octet-stream")
        given = self.client.generic(method, path, body or b"", media_type, headers=plain)
        content = b"".join(given) if given.streaming else given.content
        answer = Answer(given.status_code, dict(given.headers), content)
        self.sent.append(Sent(method, path, dict(headers), body, answer))
        return answer


def work_off() -> None:
    """Does what waits in the outbox as the embedded worker does it, without its pause for collecting.

    Records that come in together wait two seconds for one another: here those seconds are over at once.
    """
    while True:
        with unscoped():
            OutboxEntry.objects.filter(state="waiting", attempts=0).update(available_at=None)
        entry = outbox.next_ready(at=machine_now())
        if entry is None:
            return
        # A task notes its failure on its row and returns: here a failure is a failed test.
        state = _TASKS[entry.task].apply(args=(entry.pk,), throw=True).get()
        assert state == "done", (entry.task, state)


@dataclass
class Stage:
    """A loaded world that scenarios play in."""

    scene: Scene
    world: World
    transport: ClientTransport

    def tablet(self, login: str) -> Tablet:
        return self.scene.tablet(login)


def own_settings(folder: Path) -> dict[str, Any]:
    """Clock and store of a stage lie in its folder."""
    return {"WM_DEMO_CLOCK_FILE": str(folder / "clock"), "EVIDENCE_ROOT": folder / "stored"}


@contextmanager
def open_stage(folder: Path, *, day: date = DAY) -> Iterator[Stage]:
    """The invented world on ``day`` at 07:30 with its own store and clock; the record is emptied after it."""
    with override_settings(**own_settings(folder)):
        clock = SceneClock(folder / "clock", ZONE)
        clock.move_to(day, "07:30")
        try:
            world = load_world(Path(settings.BASE_DIR) / "fixtures", as_of=clock.now())
            transport = ClientTransport()
            scene = Scene(
                transport=transport,
                clock=clock,
                tokens=world.tokens,
                pins=world.pins,
                tell=lambda line: None,
                pause=work_off,
            )
            yield Stage(scene, world, transport)
        finally:
            empty_guarded_tables()


@dataclass(frozen=True)
class Read:
    """One judgement as the API tells it, ready to be asked."""

    told: dict[str, Any]

    def verdict(self, proof: str) -> tuple[str, list[str]]:
        """Verdict and reasons of ``procedure/proof``."""
        outcome = self.finding(proof)["outcome"]
        return outcome["verdict"], outcome["reasons"]

    def finding(self, proof: str) -> dict[str, Any]:
        found = [item for item in self.told["findings"] if _name(item) == proof]
        assert len(found) == 1, (proof, [_name(item) for item in self.told["findings"]])
        return dict(found[0])

    def number(self, proof: str, name: str) -> float | None:
        return number_in(self.finding(proof), name)

    def procedure(self, name: str) -> dict[str, Any]:
        return next(item for item in self.told["procedures"] if item["procedure_id"] == name)

    @property
    def open(self) -> dict[str, str]:
        """Verdicts of all that is short of met, by ``procedure/proof``."""
        found = [(_name(item), item["outcome"]["verdict"]) for item in self.told["findings"]]
        return {name: verdict for name, verdict in found if verdict != "met"}

    @property
    def gate(self) -> tuple[str, str]:
        """Verdict of the whole record, and the gate."""
        return self.told["verdict"], self.told["disposition"]


def number_in(finding: dict[str, Any], name: str) -> float | None:
    """The value of a finding's number."""
    found = [item for item in finding["outcome"]["numbers"] if item["name"] == name]
    assert len(found) == 1, (name, [item["name"] for item in finding["outcome"]["numbers"]])
    value = found[0]["value"]
    return None if value is None else float(value)


def _name(finding: dict[str, Any]) -> str:
    return f"{finding['procedure_id']}/{finding['proof_id']}"


def refused(act: Any, *arguments: Any, **named: Any) -> dict[str, Any]:
    """The problem with which the API answers; a request that is accepted fails the test."""
    try:
        given = act(*arguments, **named)
    except RefusedError as error:
        return {**error.problem, "status": error.answer.status}
    raise AssertionError(f"accepted: {given}")


def row_counts() -> dict[str, int]:
    """How many rows every table of the record has."""
    with unscoped():
        return {model.__name__: model.objects.count() for model in apps.get_app_config("jobs").get_models()}


def stored_files() -> dict[str, int]:
    """Every file of the store, the half-written included, with its size."""
    root = Path(settings.EVIDENCE_ROOT)
    return {str(path.relative_to(root)): path.stat().st_size for path in root.rglob("*") if path.is_file()}
