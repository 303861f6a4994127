"""Celery tasks: adapters that lease a row of the outbox and call one service; a message carries its id."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from celery import shared_task

from jobs.ledger.tree import make_tiles
from jobs.models import OutboxEntry
from jobs.moment import now
from jobs.selectors.heads import MAIL_HEAD
from jobs.services.addition_print import print_addition as print_addition_of
from jobs.services.assessment import bury_run, perform_assessment
from jobs.services.due import look_ahead as look_ahead_of
from jobs.services.head_mail import bury_mail, send_head
from jobs.services.heads import publish_head as publish_head_of
from jobs.services.keeping import keep_house as keep_house_of
from jobs.services.later_events import perform_event
from jobs.services.packet_sealing import bury_packet, perform_packet
from jobs.services.packet_signing import STAMP_TASK
from jobs.services.packet_time_stamp import perform_time_stamp
from jobs.services.sample_archive import TASK as ARCHIVE_TASK
from jobs.services.sample_archive import bury_archive, perform_archive
from jobs.work import KEEP_HOUSE, LOOK_AHEAD, PUBLISH_HEAD, Bury, carry_out

ASSESS_JOB: Final = "jobs.assess_job"
BUILD_PACKET: Final = "jobs.build_packet"
PRINT_ADDITION: Final = "jobs.print_addition"
NOTE_LATER_EVENT: Final = "jobs.note_later_event"


def _assess(entry: OutboxEntry) -> None:
    perform_assessment(run_id=UUID(entry.arguments["run_id"]), as_of=now())


def _bury_assessment(arguments: Mapping[str, Any], error: str) -> None:
    bury_run(run_id=UUID(arguments["run_id"]), error=error, as_of=now())


def _build(entry: OutboxEntry) -> None:
    perform_packet(packet_id=UUID(entry.arguments["packet_id"]), as_of=now())


def _bury_packet(arguments: Mapping[str, Any], error: str) -> None:
    bury_packet(packet_id=UUID(arguments["packet_id"]), error=error, as_of=now())


def _archive(entry: OutboxEntry) -> None:
    perform_archive(archive_id=UUID(entry.arguments["archive_id"]), as_of=now())


def _bury_archive(arguments: Mapping[str, Any], error: str) -> None:
    bury_archive(archive_id=UUID(arguments["archive_id"]), error=error, as_of=now())


def _time_stamp(entry: OutboxEntry) -> None:
    told = entry.arguments
    perform_time_stamp(packet_id=UUID(told["packet_id"]), attempt=told["attempt"], as_of=now())


def _keep_house(entry: OutboxEntry) -> None:
    keep_house_of(organisation=entry.organisation, as_of=now())


def _print_addition(entry: OutboxEntry) -> None:
    print_addition_of(addition_id=UUID(entry.arguments["addition_id"]), as_of=now())


def _note_later_event(entry: OutboxEntry) -> None:
    told = entry.arguments
    perform_event(event=told["event"], subject=UUID(told["id"]), as_of=datetime.fromisoformat(told["at"]))


def _look_ahead(entry: OutboxEntry) -> None:
    look_ahead_of(organisation=entry.organisation, as_of=now())


def _publish_head(entry: OutboxEntry) -> None:
    # Beside the transaction of the head: tiles are made in small steps that nobody waits for.
    make_tiles(entry.organisation_id)
    publish_head_of(organisation=entry.organisation, as_of=now())


def _mail_head(entry: OutboxEntry) -> None:
    send_head(head_id=entry.arguments["head"], person_id=UUID(entry.arguments["person"]))


def _bury_mail(arguments: Mapping[str, Any], error: str) -> None:
    bury_mail(head_id=arguments["head"], person_id=UUID(arguments["person"]), error=error, as_of=now())


# What to note where the last attempt of a task failed.
BURIERS: Final[Mapping[str, Bury]] = {
    ASSESS_JOB: _bury_assessment,
    BUILD_PACKET: _bury_packet,
    MAIL_HEAD: _bury_mail,
    ARCHIVE_TASK: _bury_archive,
}


@shared_task(name=ASSESS_JOB)  # type: ignore[untyped-decorator]  # Celery ships no types
def assess_job(entry_id: int) -> str:
    """Judges one job."""
    return carry_out(entry_id, _assess, bury=_bury_assessment)


@shared_task(name=BUILD_PACKET)  # type: ignore[untyped-decorator]  # Celery ships no types
def build_packet(entry_id: int) -> str:
    """Builds and seals one packet."""
    return carry_out(entry_id, _build, bury=_bury_packet)


@shared_task(name=ARCHIVE_TASK)  # type: ignore[untyped-decorator]  # Celery ships no types
def build_sample_archive(entry_id: int) -> str:
    """Makes the next copies of a sample's archive."""
    return carry_out(entry_id, _archive, bury=_bury_archive)


@shared_task(name=STAMP_TASK)  # type: ignore[untyped-decorator]  # Celery ships no types
def time_stamp_packet(entry_id: int) -> str:
    """Asks once for a time stamp over a sealed packet."""
    return carry_out(entry_id, _time_stamp)


@shared_task(name=LOOK_AHEAD)  # type: ignore[untyped-decorator]  # Celery ships no types
def look_ahead(entry_id: int) -> str:
    """Looks at what falls due in one organisation."""
    return carry_out(entry_id, _look_ahead)


@shared_task(name=KEEP_HOUSE)  # type: ignore[untyped-decorator]  # Celery ships no types
def keep_house(entry_id: int) -> str:
    """The round of keeping in one organisation."""
    return carry_out(entry_id, _keep_house)


@shared_task(name=PRINT_ADDITION)  # type: ignore[untyped-decorator]  # Celery ships no types
def print_addition(entry_id: int) -> str:
    """Makes the pages of one addition."""
    return carry_out(entry_id, _print_addition)


@shared_task(name=NOTE_LATER_EVENT)  # type: ignore[untyped-decorator]  # Celery ships no types
def note_later_event(entry_id: int) -> str:
    """Tells one later event on the packets that it concerns."""
    return carry_out(entry_id, _note_later_event)


@shared_task(name=PUBLISH_HEAD)  # type: ignore[untyped-decorator]  # Celery ships no types
def publish_head(entry_id: int) -> str:
    """Makes the day's head of one log."""
    return carry_out(entry_id, _publish_head)


@shared_task(name=MAIL_HEAD)  # type: ignore[untyped-decorator]  # Celery ships no types
def mail_head(entry_id: int) -> str:
    """Sends one head to one person."""
    return carry_out(entry_id, _mail_head, bury=_bury_mail)
