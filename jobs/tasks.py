"""Celery tasks: adapters that lease a row of the outbox and call one service; a message carries its id."""

from collections.abc import Mapping
from typing import Any, Final
from uuid import UUID

from celery import shared_task

from jobs.models import OutboxEntry
from jobs.moment import now
from jobs.services.assessment import bury_run, perform_assessment
from jobs.services.due import look_ahead as look_ahead_of
from jobs.services.packet import bury_packet, perform_packet
from jobs.work import LOOK_AHEAD, Bury, carry_out

ASSESS_JOB: Final = "jobs.assess_job"
BUILD_PACKET: Final = "jobs.build_packet"


def _assess(entry: OutboxEntry) -> None:
    perform_assessment(run_id=UUID(entry.arguments["run_id"]), as_of=now())


def _bury_assessment(arguments: Mapping[str, Any], error: str) -> None:
    bury_run(run_id=UUID(arguments["run_id"]), error=error, as_of=now())


def _build(entry: OutboxEntry) -> None:
    perform_packet(packet_id=UUID(entry.arguments["packet_id"]), as_of=now())


def _bury_packet(arguments: Mapping[str, Any], error: str) -> None:
    bury_packet(packet_id=UUID(arguments["packet_id"]), error=error, as_of=now())


def _look_ahead(entry: OutboxEntry) -> None:
    look_ahead_of(organisation=entry.organisation, as_of=now())


# What to note where the last attempt of a task failed.
BURIERS: Final[Mapping[str, Bury]] = {ASSESS_JOB: _bury_assessment, BUILD_PACKET: _bury_packet}


@shared_task(name=ASSESS_JOB)  # type: ignore[untyped-decorator]  # Celery ships no types
def assess_job(entry_id: int) -> str:
    """Judges one job."""
    return carry_out(entry_id, _assess, bury=_bury_assessment)


@shared_task(name=BUILD_PACKET)  # type: ignore[untyped-decorator]  # Celery ships no types
def build_packet(entry_id: int) -> str:
    """Builds and seals one packet."""
    return carry_out(entry_id, _build, bury=_bury_packet)


@shared_task(name=LOOK_AHEAD)  # type: ignore[untyped-decorator]  # Celery ships no types
def look_ahead(entry_id: int) -> str:
    """Looks at what falls due in one organisation."""
    return carry_out(entry_id, _look_ahead)
