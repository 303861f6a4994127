"""What people saw and stated: lamps, statements, functions tried, targets read, changes of state,
sublet trips."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from jobs.access import Actor
from jobs.models import FunctionCheck, Job, LampRecord, StateChange, Statement, SubletOrder, TargetIdentity
from jobs.services import moments, recording, references, values
from jobs.services.odometer import Odometer, check_odometer
from jobs.services.values import refused
from rules.vocabulary import FUNCTION_STATES, FUNCTIONS, LAMP_GROUPS, LAMP_STATES, LAMPS, STATE_CHANGES

MOST_NAMES: Final = 60
CARRIED_HOW: Final = ("driven", "trailer", "done_here")


@dataclass(frozen=True, slots=True, kw_only=True)
class LampEntry:
    """``states`` maps a lamp or a whole group to lit, unlit, outline_only, filled or not_seen."""

    id: UUID
    states: Mapping[str, str]
    at: str
    device: UUID | None = None
    session: UUID | None = None
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementEntry:
    """``says`` and ``denies`` are names of points; ``text_version`` names the wording that was shown."""

    id: UUID
    says: tuple[str, ...]
    at: str
    text_version: str
    device: UUID | None = None
    session: UUID | None = None
    sessions: tuple[UUID, ...] = ()
    bay: str = ""
    procedure_id: str = ""
    denies: tuple[str, ...] = ()
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionCheckEntry:
    id: UUID
    session: UUID
    function: str
    shows: str
    at: str
    device: UUID | None = None
    place: str = ""
    how: str = ""
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetEntry:
    """``number_read`` as it stands on the back of the board or reflector."""

    id: UUID
    number_read: str
    right_way_up: bool
    clean: bool
    at: str
    device: UUID | None = None
    session: UUID | None = None
    procedure_id: str = ""
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StateChangeEntry:
    id: UUID
    kind: str
    at: str
    on_road: bool = False
    device: UUID | None = None
    evidence: tuple[UUID, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SubletEntry:
    """Work given to another business; ``out_at`` and ``back_at`` may be empty while not known."""

    id: UUID
    to_org: str
    procedure_ids: tuple[str, ...]
    carried_how: str
    out_at: str = ""
    out_odometer: Odometer | None = None
    back_at: str = ""
    back_odometer: Odometer | None = None
    returned_lamps: Mapping[str, str] | None = None
    device: UUID | None = None
    evidence: tuple[UUID, ...] = ()


def lamp_states(states: Mapping[str, str], field: str = "states") -> dict[str, str]:
    """Known lamps or groups with known states. Codes: states_empty, unknown_lamp, bad_choice."""
    if not states:
        raise refused("states_empty", field, "Name at least one lamp or group.")
    for lamp in states:
        if lamp not in LAMPS and lamp not in LAMP_GROUPS:
            raise refused("unknown_lamp", f"{field}.{lamp}", f"{lamp} is no lamp that is known here.")
    return {lamp: values.read_choice(state, LAMP_STATES, f"{field}.{lamp}") for lamp, state in states.items()}


def record_lamps(*, job: Job, actor: Actor, as_of: datetime, entry: LampEntry) -> LampRecord:
    """Keeps which lamps were lit. Codes: those of ``lamp_states``, unknown_reference and those of moments."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    record = LampRecord(
        id=entry.id,
        states=lamp_states(entry.states),
        session=references.session(job, entry.session, "session"),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        seen_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(record, job=job, actor=actor, as_of=as_of, what="lamps.recorded")


def record_statement(*, job: Job, actor: Actor, as_of: datetime, entry: StatementEntry) -> Statement:
    """Keeps what a person states or denies. Codes: statement_empty, says_and_denies, bad_name, too_many."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    says, denies = _names(entry.says, "says"), _names(entry.denies, "denies")
    if not says and not denies:
        raise refused("statement_empty", "says", "A statement says or denies something.")
    if set(says) & set(denies):
        raise refused("says_and_denies", "denies", "A point cannot be said and denied at once.")
    device = references.device(actor, entry.device, "device")
    session_ids = (*entry.sessions, *((entry.session,) if entry.session is not None else ()))
    statement = Statement(
        id=entry.id,
        says=says,
        denies=denies,
        text_version=values.read_text(entry.text_version, "text_version", longest=80),
        sessions=references.sessions(job, session_ids, "sessions"),
        bay=references.bay(entry.bay, "bay"),
        procedure_id=values.read_text(entry.procedure_id, "procedure_id", shortest=0, longest=80),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        stated_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(statement, job=job, actor=actor, as_of=as_of, what="statement.made")


def _names(names: tuple[str, ...], field: str) -> list[str]:
    if len(names) > MOST_NAMES:
        raise refused("too_many", field, f"{field} has more than {MOST_NAMES} names.")
    return [values.read_name(name, f"{field}[{place}]") for place, name in enumerate(dict.fromkeys(names))]


def record_function_check(
    *, job: Job, actor: Actor, as_of: datetime, entry: FunctionCheckEntry
) -> FunctionCheck:
    """Keeps that a function was tried and what it did. Codes: bad_choice, unknown_reference, text_length."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    check = FunctionCheck(
        id=entry.id,
        session=references.session(job, entry.session, "session"),
        function=values.read_choice(entry.function.lower(), FUNCTIONS, "function"),
        place=values.read_text(entry.place, "place", shortest=0, longest=40),
        shows=values.read_choice(entry.shows, FUNCTION_STATES, "shows"),
        how=values.read_text(entry.how, "how", shortest=0),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        checked_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(check, job=job, actor=actor, as_of=as_of, what="function.checked")


def record_target_identity(*, job: Job, actor: Actor, as_of: datetime, entry: TargetEntry) -> TargetIdentity:
    """Keeps which target hung and how. Codes: text_length, unknown_reference and those of moments."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    device = references.device(actor, entry.device, "device")
    identity = TargetIdentity(
        id=entry.id,
        number_read=values.read_text(entry.number_read, "number_read", longest=80),
        right_way_up=entry.right_way_up,
        is_clean=entry.clean,
        session=references.session(job, entry.session, "session"),
        procedure_id=values.read_text(entry.procedure_id, "procedure_id", shortest=0, longest=80),
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        read_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(identity, job=job, actor=actor, as_of=as_of, what="target.identified")


def record_state_change(*, job: Job, actor: Actor, as_of: datetime, entry: StateChangeEntry) -> StateChange:
    """Keeps something that spoils earlier evidence. Codes: bad_choice, on_road_without_move."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    if entry.on_road and entry.kind != "vehicle_moved":
        raise refused("on_road_without_move", "on_road", "Only vehicle_moved can be on the road.")
    device = references.device(actor, entry.device, "device")
    change = StateChange(
        id=entry.id,
        kind=values.read_choice(entry.kind, STATE_CHANGES, "kind"),
        on_road=entry.on_road,
        at=moments.read_moment(entry.at, field="at", device=device, as_of=as_of),
        made_by=actor.person,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(change, job=job, actor=actor, as_of=as_of, what="state.changed")


def record_sublet(*, job: Job, actor: Actor, as_of: datetime, entry: SubletEntry) -> SubletOrder:
    """Keeps a trip to another business. Codes: bad_choice, list_empty, times_backwards, text_length."""
    recording.require_role(actor, *recording.FLOOR_ROLES)
    if not entry.procedure_ids:
        raise refused("list_empty", "procedure_ids", "Name the procedures that were given out.")
    device = references.device(actor, entry.device, "device")
    out = moments.read_optional(entry.out_at, field="out_at", device=device, as_of=as_of)
    back = moments.read_optional(entry.back_at, field="back_at", device=device, as_of=as_of)
    if out is not None and back is not None and back.reading < out.reading:
        raise refused("times_backwards", "back_at", "back_at is earlier than out_at.")
    trip = SubletOrder(
        id=entry.id,
        to_org=values.read_text(entry.to_org, "to_org", longest=120),
        procedure_ids=[
            values.read_text(name, f"procedure_ids[{place}]", longest=80)
            for place, name in enumerate(entry.procedure_ids)
        ],
        carried_how=values.read_choice(entry.carried_how, CARRIED_HOW, "carried_how"),
        out=out,
        out_odometer=_odometer(entry.out_odometer, "out_odometer"),
        back=back,
        back_received_at=as_of if back is not None else None,
        back_odometer=_odometer(entry.back_odometer, "back_odometer"),
        returned_lamps=lamp_states(entry.returned_lamps, "returned_lamps") if entry.returned_lamps else None,
        device=device,
        evidence=references.evidence(job, entry.evidence),
    )
    return recording.keep(trip, job=job, actor=actor, as_of=as_of, what="sublet.ordered")


def _odometer(odometer: Odometer | None, field: str) -> dict[str, str] | None:
    return None if odometer is None else check_odometer(odometer, field).as_json()
