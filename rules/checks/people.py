"""Checks on who did and signed the work: signatures and qualifications."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from rules.checks.base import CheckContext, RequiredProcedure
from rules.checks.draft import Draft
from rules.checks.freshness import local_dates
from rules.checks.sentences import begin, local_time, names_argument, plain, word_argument, words
from rules.decisions import performers, person_named, same_person
from rules.facts import Moment, Place, Qualification, Session, live
from rules.requirements import calling_operations
from rules.sign_offs import last_sign_off, stale_because
from rules.verdict import Outcome

AIM_KINDS: Final = ("aim.static", "aim.dynamic", "aim.radar", "aim.surround")
_KINDS_BY_SENSOR: Final[dict[str, tuple[str, ...]]] = {
    "front_radar": ("aim.radar",),
    "rear_corner_radar": ("aim.radar",),
    "surround_cameras": ("aim.surround",),
}
_REVIEWER: Final = "quality_reviewer"


# ------------------------------------------------------------------ signatures


def signed(context: CheckContext) -> Outcome:
    """The last sign-off of the role exists, still stands for the record, and is by the right person.

    Reasons: not_signed, sign_off_stale, same_person.
    """
    role = word_argument(context, "by")
    others = names_argument(context, "other_than")
    wanted = f"The {plain(role)} must sign" + (f", another person than the {words(others)}" if others else "")
    draft = begin(context, wanted)
    sign_off = last_sign_off(context.facts, role)
    if sign_off is None:
        draft.not_shown(
            "not_signed", f"Nobody has signed as {plain(role)}.", f"The {plain(role)} signs.", "desk"
        )
        return draft.outcome()
    draft.rests_on(sign_off)
    at = local_time(context.facts.place, sign_off.at.reading)
    draft.say(f"{_name(context, sign_off.person)} signed {len(sign_off.covers)} items {at}.")
    stale = stale_because(sign_off, context.facts)
    if stale:
        draft.not_shown(
            "sign_off_stale",
            f"The record has changed since: {_some(stale)}.",
            f"The {plain(role)} looks at what changed and signs again.",
            "desk",
        )
    for other in _must_differ(context, role, others):
        if same_person(context.facts, sign_off.person, other):
            draft.not_met(
                "same_person",
                f"{_name(context, other)} also did or signed the work that this signature reviews.",
                "Another qualified person reviews the evidence and signs.",
                "desk",
            )
    return draft.outcome()


def _must_differ(context: CheckContext, role: str, others: Iterable[str]) -> tuple[str, ...]:
    """Signers of the other roles; for the reviewer also performers and observers of governing sessions."""
    found = [last_sign_off(context.facts, other) for other in others]
    names = [item.person for item in found if item is not None]
    if role == _REVIEWER:
        names += performers(item.session for item in context.required.values())
    return tuple(dict.fromkeys(names))


def _name(context: CheckContext, who: str) -> str:
    person = person_named(context.facts, who)
    return who if person is None else person.name


def _some(reasons: tuple[str, ...]) -> str:
    shown = "; ".join(reasons[:5])
    return shown if len(reasons) <= 5 else f"{shown}; and {len(reasons) - 5} more"


# ------------------------------------------------------------------ qualifications


@dataclass(frozen=True, slots=True, kw_only=True)
class Duty:
    """One person who had to be qualified: in one of ``kinds``, on the local day of ``at``."""

    who: str
    kinds: tuple[str, ...]
    at: Moment
    place: Place
    what: str


def people_qualified(context: CheckContext) -> Outcome:
    """Everybody who had to be qualified was, on the local day at the place of the work.

    Nobody to judge is met and says so. Reasons: missing, person_not_qualified.
    """
    draft = begin(context, "Who aims, bonds glass or reviews must be qualified for it on that day")
    duties = _duties(context)
    if not duties:
        draft.say("Nobody is to be judged: no governing session, no bonded glass and no review is on record.")
    for duty in dict.fromkeys(duties):
        _judge_duty(draft, context, duty)
    return draft.outcome()


def _duties(context: CheckContext) -> list[Duty]:
    duties = [duty for item in context.required.values() for duty in _aiming_duties(context, item)]
    duties += _bonding_duties(context)
    review = last_sign_off(context.facts, _REVIEWER)
    if review is not None:
        duties.append(
            Duty(
                who=review.person,
                kinds=("review",),
                at=review.at,
                place=context.facts.place,
                what="signed the review",
            )
        )
    return duties


def _aiming_duties(context: CheckContext, item: RequiredProcedure) -> list[Duty]:
    session = item.session
    if session is None or not item.procedure.kind:
        return []
    what = f'performed "{item.procedure.title}"'
    return [
        Duty(who=who, kinds=kinds, at=at, place=session.place, what=what)
        for who, at, kind in _performed_parts(context, item.procedure.kind, session)
        for kinds in _kinds_asked(item.sensors, kind)
    ]


def _performed_parts(context: CheckContext, kind: str, session: Session) -> list[tuple[str, Moment, str]]:
    """(performer, start, kind of part) of the session; a reused part counts for who performed it."""
    if kind != "static_then_dynamic":
        return [(session.performed_by, session.started, kind)]
    by_id = {item.id: item for item in context.facts.sessions}
    own = by_id.get(session.id, session)
    reused = by_id.get(session.reuses_part_of or "")
    found = []
    for part in session.parts:
        is_own = any(mine.part == part.part for mine in own.parts)
        source = own if is_own or reused is None else reused
        found.append((source.performed_by, part.started, "static" if part.part == "still" else "dynamic"))
    return found


def _kinds_asked(sensors: Iterable[str], kind: str) -> list[tuple[str, ...]]:
    """The sets of kinds asked for, one of each set being enough; a sensor not named asks for any aim kind."""
    if kind == "initialise":
        return [AIM_KINDS]
    asked: list[tuple[str, ...]] = []
    for sensor in sensors:
        if sensor == "forward_camera":
            asked.append((f"aim.{kind}",))
        else:
            asked.append(_KINDS_BY_SENSOR.get(sensor, AIM_KINDS))
    return asked or [AIM_KINDS]


def _bonding_duties(context: CheckContext) -> list[Duty]:
    duties = []
    for item in context.required.values():
        if not any(proof.check == "adhesive_ready" for proof in item.procedure.proofs):
            continue
        editions = tuple({other.edition.pack: other.edition for other in context.required.values()}.values())
        for operation in calling_operations(item.procedure.id, editions, context.facts):
            at = operation.done or operation.started
            if at is not None:
                duties.append(
                    Duty(
                        who=operation.by,
                        kinds=("glass.set",),
                        at=at,
                        place=context.facts.place,
                        what="set the bonded glass",
                    )
                )
    return duties


def _judge_duty(draft: Draft, context: CheckContext, duty: Duty) -> None:
    person = person_named(context.facts, duty.who)
    held = () if person is None else live(person.qualifications)
    of_kind = [item for item in held if item.kind in duty.kinds]
    name = _name(context, duty.who)
    days = local_dates(duty.place, duty.at)
    asked = " or ".join(duty.kinds)
    valid = [item for item in of_kind if all(is_valid_on(item, day) for day in days)]
    if valid:
        draft.rests_on(valid[0])
        draft.say(f"{name}, who {duty.what}, holds {valid[0].kind} on {days[0].isoformat()}.")
        return
    change = f"File a qualification {asked} of {name} that covers that day."
    if any(_was_ended(item, days[0]) for item in of_kind):
        draft.rests_on(*of_kind)
        draft.not_met(
            "person_not_qualified",
            f"{name}, who {duty.what}, held {asked}, but it was expired or revoked on {days[0].isoformat()}.",
            f"{change} Otherwise a qualified person repeats the work.",
        )
        return
    draft.not_shown(
        "missing",
        f"For {name}, who {duty.what}, no qualification {asked} for {days[0].isoformat()} is on file.",
        change,
        "desk",
    )


def is_valid_on(item: Qualification, day: date) -> bool:
    """Issued on or before the day, not past its last day, and not revoked on or before it."""
    if item.issued_on > day or (item.expires_on is not None and day > item.expires_on):
        return False
    return item.revoked_on is None or item.revoked_on > day


def _was_ended(item: Qualification, day: date) -> bool:
    return item.issued_on <= day and not is_valid_on(item, day)
