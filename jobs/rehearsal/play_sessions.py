"""Playing sessions: their beginning, what the key did, their end with its parts."""

from typing import Any

from django.db.models import Model

from jobs.errors import Refused
from jobs.models import Session
from jobs.rehearsal.stage import Call
from jobs.rehearsal.times import read_when
from jobs.services.session import (
    KeyEventEntry,
    PartEntry,
    SessionEnd,
    SessionEntry,
    add_key_events,
    end_session,
    start_session,
)


def play_session(call: Call) -> Model:
    body = call.body
    reused = body["reuses_part_of"]
    entry = SessionEntry(
        id=call.id(),
        procedure_id=body["procedure"],
        started_at=call.claim(),
        capture_device=call.device.pk,
        device=_tool(call),
        bay=body["bay"],
        observer=body["observer"],
        performed_by=body["performed_by"],
        performer_org=body["performer_org"],
        reuses_part_of=call.row("sessions", reused).pk if reused is not None else None,
    )
    return start_session(job=call.job, actor=call.actor, as_of=call.as_of, entry=entry)


def _tool(call: Call) -> str:
    name = call.body["tool"]
    if name is not None:
        return "" if name == "none" else str(name)
    return "SD-014" if call.location.code == "TG" else "SD-011"


def play_session_end(call: Call) -> Model:
    body = call.body
    row: Session = call.row("sessions", call.act.name)
    row.refresh_from_db()
    if body["key"]:
        _keys(call, row, body["key"])
    parts = [
        PartEntry(
            part=part,
            started_at=call.claim(body[part]["from"]),
            ended_at=call.claim(body[part]["to"]) if body[part]["to"] is not None else "",
            result=body[part]["result"],
        )
        for part in ("still", "road")
        if body[part] is not None
    ]
    entry = SessionEnd(
        version=row.version,
        ended_at=call.claim(),
        result=body["result"],
        result_text=body["result_text"],
        results=body["results"],
        device_software=body["software"],
        parts=tuple(parts),
        capture_device=call.device.pk,
    )
    return end_session(job=call.job, session=row, actor=call.actor, as_of=call.as_of, entry=entry)


def play_keys(call: Call) -> Model:
    row: Session = call.row("sessions", call.body["session"])
    _keys(call, row, call.body["events"])
    return row


def _keys(call: Call, row: Session, typed: Any) -> None:
    """``10:30 on``, ``10:43:14 off``: what the key did, and when."""
    events = []
    for item in typed:
        time, _, state = str(item).rpartition(" ")
        when = read_when(time)
        if when is None or state not in ("on", "off", "crank"):
            raise Refused("key_event", f"{item!r} is no event such as 10:30 on.")
        events.append(KeyEventEntry(at=call.claim(when), state=state))
    add_key_events(
        job=call.job,
        session=row,
        actor=call.actor,
        as_of=call.as_of,
        events=tuple(events),
        capture_device=call.device.pk,
    )
