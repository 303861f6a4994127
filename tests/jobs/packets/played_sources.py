"""Frozen inputs of packets from whole jobs of the scenario files, played through the real services."""

import shutil
from functools import cache
from pathlib import Path

from django.test.utils import override_settings

from jobs.models import Job, Packet, scope, unscoped
from jobs.moment import machine_now
from jobs.packets.build import read_packs
from jobs.packets.freeze import freeze_source
from jobs.packets.pages.context import PageContext
from jobs.packets.source import PacketSource
from jobs.rehearsal.play import rehearse
from jobs.rehearsal.scenario import read_scenario
from jobs.rehearsal.scratch import connected, fixtures

KEY = b"packet key of the played jobs 32"


def frozen_jobs(name: str) -> dict[str, PacketSource]:
    """The frozen input of every job of ``fixtures/scenarios/<name>.yaml``, by order number.

    The database must be open to the test (``django_db_blocker``); the scratch one is deleted again.
    """
    return {number: PacketSource.from_bytes(data) for number, data in _frozen(name).items()}


@cache
def _frozen(name: str) -> dict[str, bytes]:
    rehearsed = rehearse(read_scenario(fixtures() / "scenarios" / f"{name}.yaml"), keep=True)
    database = Path(rehearsed.kept_in)
    try:
        with (
            override_settings(EVIDENCE_ROOT=database.parent / "stored", WM_DEMO_CLOCK_FILE=""),
            connected({"ENGINE": "django.db.backends.sqlite3", "NAME": database}),
        ):
            return _sources()
    finally:
        shutil.rmtree(database.parent, ignore_errors=True)


def _sources() -> dict[str, bytes]:
    with unscoped():
        jobs = list(Job.objects.select_related("organisation", "order__vehicle"))
    found = {}
    for job in jobs:
        with scope(job.organisation_id):
            packet = Packet(
                organisation=job.organisation,
                job=job,
                number=1,
                serial=f"{job.number}/P1",
                kind="full",
                as_of=_last_record(job),
                salt_key=KEY,
            )
            found[job.number] = freeze_source(packet)[0].to_bytes()
    return found


def _last_record(job: Job):  # type: ignore[no-untyped-def]
    """A minute of the story after which nothing more was recorded; a scenario's clock stands still."""
    last = job.assessments.order_by("-gate_at").values_list("gate_at", flat=True).first()
    return last or machine_now()


def context_of_played(source: PacketSource) -> PageContext:
    return PageContext(source=source, editions=read_packs(source.packs), root="5a" * 32)
