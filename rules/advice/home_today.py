"""Can this car go home today: earliest and latest departure of its drive, or why not, step by step."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from rules.advice.home import (
    MINUTE,
    Answer,
    HomeAnswer,
    HomeQuestion,
    ceil_minute,
    clock,
    end_of_day,
    floor_minute,
    same_day,
)
from rules.advice.home_steps import steps_of
from rules.rounding import to_six
from rules.science.sun import stretch_above


def home_today(question: HomeQuestion) -> HomeAnswer:
    """The earliest finish over the open steps, and the latest departure that still fits the day.

    Departure waits for adhesive, bay and work; the counted part must lie where the sun stands high enough,
    and the car must be back before the shift ends. Sun edges are taken to the minute on the safe side.
    """
    if question.unknown:
        return _no(question, "cannot_tell", " ".join(question.unknown))
    if question.past:
        return _no(question, "not_today", f"{'; '.join(question.past)}: this cannot be repaired.")
    overdue = [item.tag for item in question.instruments if not item.today]
    if overdue:
        return _no(question, "not_today", f"Out of date today: {', '.join(overdue)}. Take others.")
    if question.ready is not None and question.ready.at is None:
        return _no(question, "cannot_tell", question.ready.words)
    if question.drives and question.way_s is None:
        return _no(question, "cannot_tell", "How far it is to the road is not entered.")
    return _with_drive(question) if question.drives else _without_drive(question)


# ------------------------------------------------------------------ with and without a drive


def _earliest(question: HomeQuestion) -> tuple[datetime, str]:
    """When the car can leave the bay at the earliest, and which step sets it."""
    waits = [(question.now, "")]
    if question.bay_free_at is not None:
        waits.append((question.bay_free_at, "the bay is free then"))
    at, why = max(waits, key=lambda item: item[0])
    if question.work_s > 0:
        at, why = at + timedelta(seconds=question.work_s), "the work in the bay is done then"
    ready = question.ready
    if ready is not None and ready.at is not None and ready.at > at:
        at, why = ready.at, "the adhesive is ready then"
    return ceil_minute(at), why


def _without_drive(question: HomeQuestion) -> HomeAnswer:
    earliest, why = _earliest(question)
    until = question.shift_until
    told = f"{clock(question, earliest)} is the earliest" + (f": {why}" if why else "")
    if until is not None and earliest > until:
        return _no(question, "not_today", f"{told}, and the shift ends {clock(question, until)}.")
    if not same_day(question, earliest):
        return _no(question, "not_today", f"{told}.")
    latest = None if until is None else floor_minute(until)
    return HomeAnswer(
        answer="window",
        earliest=earliest,
        latest=latest,
        spare_s=None if latest is None else (latest - earliest).total_seconds(),
        back_at=None,
        sentence=f"Possible from {clock(question, earliest)}{f': {why}' if why else ''}. No drive is open.",
        reason="",
        steps=steps_of(question),
    )


def _with_drive(question: HomeQuestion) -> HomeAnswer:
    light = _light(question)
    if light is None:
        return _no(question, "not_today", "The sun stays too low for the drive for the rest of the day.")
    way = timedelta(seconds=question.way_s or 0.0)
    trips = _drive_time(question) + way * 2 * len(question.drives)
    earliest, why = _earliest(question)
    dawn = ceil_minute(light[0] - way)
    if dawn > earliest:
        earliest, why = dawn, "the sun stands high enough then"
    # The counted part of the last drive ends one way before the car is back.
    limits = [(light[1] - (trips - way), _light_words(question, light[1]))]
    if question.shift_until is not None:
        limits.append((question.shift_until - trips, _shift_words(question, question.shift_until)))
    latest, bound = min(limits, key=lambda item: item[0])
    latest = floor_minute(latest)
    not_before = f"Not before {clock(question, earliest)}: {why}." if why else ""
    if earliest > latest:
        reason = f"{not_before} Not after {clock(question, latest)}: {bound}."
        return _no(question, "not_today", reason.strip())
    spare_s = (latest - earliest).total_seconds()
    window = f"leave between {clock(question, earliest)} and {clock(question, latest)}"
    parts = (
        f"Possible: {window}, {round(spare_s / 60)} min to spare.",
        not_before,
        f"Not after {clock(question, latest)}: {bound}.",
    )
    return HomeAnswer(
        answer="window",
        earliest=earliest,
        latest=latest,
        spare_s=spare_s,
        back_at=ceil_minute(earliest + trips),
        sentence=" ".join(part for part in parts if part),
        reason="",
        steps=steps_of(question),
    )


def _sun_limits(question: HomeQuestion) -> list[float]:
    return [drive.sun_above_deg for drive in question.drives if drive.sun_above_deg is not None]


def _light(question: HomeQuestion) -> tuple[datetime, datetime] | None:
    """From when to when today the counted part may lie; the whole rest of the day without a sun limit."""
    start, end, place = question.now, end_of_day(question), question.place
    limits = _sun_limits(question)
    if not limits:
        return start, end
    found = stretch_above(max(limits), start.timestamp(), end.timestamp(), place.lat, place.lon)
    if found is None:
        return None
    first, last = (datetime.fromtimestamp(at, tz=UTC) for at in found)
    return (start if first <= start else floor_minute(first) + MINUTE), floor_minute(last)


def _light_words(question: HomeQuestion, last_counted: datetime) -> str:
    limits = _sun_limits(question)
    if not limits:
        return "the day ends"
    at = clock(question, last_counted)
    return f"the counted part must end by {at}, when the sun falls below {max(limits):g} deg"


def _shift_words(question: HomeQuestion, until: datetime) -> str:
    return f"the car must be back by {clock(question, until)}, while the aimer is here"


def _drive_time(question: HomeQuestion) -> timedelta:
    """Time on the road for all drives, by the shop's own ratio of trip to counted time."""
    return timedelta(seconds=to_six(_total(drive.needed_s * question.ratio for drive in question.drives)))


def _total(values: Iterable[float]) -> float:
    total = 0.0
    for value in values:
        total += value
    return total


# ------------------------------------------------------------------ no


def _no(question: HomeQuestion, answer: Answer, reason: str) -> HomeAnswer:
    parts = ["Not today." if answer == "not_today" else "Cannot be told yet.", reason]
    if answer == "not_today" and not question.past:
        parts.append("Promise tomorrow, and say why.")
        late = [item.tag for item in question.instruments if not item.tomorrow]
        if late:
            parts.append(f"Out of date tomorrow: {', '.join(late)}.")
    return HomeAnswer(
        answer=answer,
        earliest=None,
        latest=None,
        spare_s=None,
        back_at=None,
        sentence=" ".join(parts),
        reason=reason,
        steps=steps_of(question),
    )
