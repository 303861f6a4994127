"""Whether an instrument was in date on the local day of a use: certificate, interval, suspension, range."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from rules.facts import Certificate, Equipment, EquipmentEvent, Moment, live
from rules.rounding import to_six
from rules.science.clocks import happened_before
from rules.science.months import add_months
from rules.verdict import NOT_MET, NOT_SHOWN, Reason, Verdict, not_met, not_shown

# Events that suspend use until a later calibration, or a passed check before use and a written decision.
DAMAGING: Final = frozenset({"dropped", "repaired"})
# Events that suspend use until the event that undoes them.
UNDONE_BY: Final = {"quarantine": "clear", "lost": "found"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """One use of an instrument.

    ``days``: the first and last local day it can have been. ``day_began_at``: local midnight before its
    earliest instant, as UTC. ``values``: (value, unit) pairs read with it. ``number``: count of uses since
    calibration, this one among them; None where nobody counts.
    """

    at: Moment
    days: tuple[date, date]
    day_began_at: datetime
    values: tuple[tuple[float, str], ...] = ()
    number: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One reason why the instrument was not shown to be in date, in words."""

    reason: Reason
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """All faults of one use; none means in date. ``certificate`` and ``due_on`` as they governed."""

    faults: tuple[Fault, ...]
    certificate: Certificate | None
    due_on: date | None


def due_on(certificate: Certificate, interval_months: int | None) -> date | None:
    """Last valid day: calibration date plus the interval, clipped to the month's end; None without interval.

    Counted from the calibration, not from a label nor from the first use; no grace.
    """
    return None if interval_months is None else add_months(certificate.calibrated_on, interval_months)


def status_of(equipment: Equipment, use: Use) -> Status:
    """Everything that keeps the instrument from being in date at this use (ISO/IEC 17025:2017 certificate).

    Reason codes: instrument_overdue, instrument_suspended, instrument_no_certificate, instrument_range,
    missing (check before use), undecided (the day or the order is not known).
    """
    faults = [*_state(equipment, use), *_events(equipment, use), *_before_use(equipment, use)]
    if not equipment.needs_certificate:
        return Status(faults=tuple(faults), certificate=None, due_on=None)
    certificate, fault = covering(equipment.certificates, use)
    due = None if certificate is None else due_on(certificate, equipment.interval_months)
    if certificate is None:
        faults.append(fault or Fault(reason=not_shown("instrument_no_certificate"), text="no certificate"))
    else:
        faults += _interval(equipment, use, due)
        faults += _range(certificate, use)
    return Status(faults=tuple(faults), certificate=certificate, due_on=due)


# ------------------------------------------------------------------ state and events


def _state(equipment: Equipment, use: Use) -> list[Fault]:
    faults: list[Fault] = []
    since = equipment.state_since
    if equipment.state != "in_service" and (since is None or since <= use.at.high):
        surely = since is None or since <= use.at.low
        reason = not_met("instrument_suspended") if surely else not_shown("undecided")
        faults.append(Fault(reason=reason, text=f"it was {equipment.state.replace('_', ' ')}"))
    if equipment.in_service_from > use.days[0]:
        text = f"it is in service only from {equipment.in_service_from.isoformat()}"
        faults.append(Fault(reason=not_shown("instrument_no_certificate"), text=text))
    return faults


def _events(equipment: Equipment, use: Use) -> list[Fault]:
    faults: list[Fault] = []
    for event in live(equipment.events):
        if event.kind not in DAMAGING and event.kind not in UNDONE_BY:
            continue
        before = happened_before(event.at, use.at)
        if before == "false":
            continue
        lifted = _lifted(equipment, event, use)
        if lifted == "yes":
            continue
        verdict: Verdict = NOT_MET if before == "true" and lifted == "no" else NOT_SHOWN
        code = "instrument_suspended" if verdict == NOT_MET else "undecided"
        faults.append(
            Fault(
                reason=Reason(code=code, verdict=verdict),
                text=f"the event {event.kind} suspended it, and nothing shows that it was released before",
            )
        )
    return faults


def _lifted(equipment: Equipment, event: EquipmentEvent, use: Use) -> str:
    """Whether something between the event and the use ended the suspension: yes, no or unknown."""
    if event.kind in UNDONE_BY:
        return _any_between(equipment, (UNDONE_BY[event.kind],), event, use)
    confirmed = [item for item in live(equipment.certificates) if item.confirmed]
    calibrated = [_calibrated_between(item, event, use) for item in confirmed]
    if "yes" in calibrated:
        return "yes"
    if equipment.needs_check_before_use and _any_between(equipment, ("clear",), event, use) == "yes":
        checks = [item for item in live(equipment.before_use_checks) if item.passed]
        if any(_between(event.at, item.at, use.at) == "yes" for item in checks):
            return "yes"
    return "unknown" if "unknown" in calibrated else "no"


def _any_between(equipment: Equipment, kinds: Sequence[str], event: EquipmentEvent, use: Use) -> str:
    found = [_between(event.at, item.at, use.at) for item in live(equipment.events) if item.kind in kinds]
    if "yes" in found:
        return "yes"
    return "unknown" if "unknown" in found else "no"


def _between(first: Moment, middle: Moment, last: Moment) -> str:
    orders = (happened_before(first, middle), happened_before(middle, last))
    if orders == ("true", "true"):
        return "yes"
    return "no" if "false" in orders else "unknown"


def _calibrated_between(certificate: Certificate, event: EquipmentEvent, use: Use) -> str:
    """Calibrated after the event and before the use; by the day alone only where all days differ."""
    at = certificate.calibrated_at
    if at is not None:
        return _between(event.at, Moment.exact(at), use.at)
    # Without an hour the calibration lies somewhere in its local day, whatever the zone of the laboratory.
    day = certificate.calibrated_on
    start = datetime.fromordinal(day.toordinal()).replace(tzinfo=event.at.high.tzinfo)
    moment = Moment(
        low=start - timedelta(hours=14), high=start + timedelta(hours=36), reading=start, clock="calendar"
    )
    return _between(event.at, moment, use.at)


# ------------------------------------------------------------------ check before use


def _before_use(equipment: Equipment, use: Use) -> list[Fault]:
    """A passed check on the day of use, before it; the last one of the day counts."""
    if not equipment.needs_check_before_use:
        return []
    todays = [item for item in live(equipment.before_use_checks) if item.at.low >= use.day_began_at]
    before = [item for item in todays if happened_before(item.at, use.at) == "true"]
    if not before:
        return [Fault(reason=not_shown("missing"), text="its check before use is not recorded for that day")]
    last = max(before, key=lambda item: (item.at.low, item.id))
    if last.passed:
        return []
    return [Fault(reason=not_met("instrument_suspended"), text="its check before use failed")]


# ------------------------------------------------------------------ certificate


def covering(certificates: Sequence[Certificate], use: Use) -> tuple[Certificate | None, Fault | None]:
    """The latest confirmed certificate calibrated not after the use; same day by its hour, else not shown."""
    confirmed = [item for item in live(certificates) if item.confirmed]
    surely = [item for item in confirmed if _calibrated_before(item, use) == "true"]
    best = max(surely, key=lambda item: (item.calibrated_on, item.received_at, item.id), default=None)
    if best is not None:
        return best, None
    if any(_calibrated_before(item, use) == "unknown" for item in confirmed):
        text = "it was calibrated on the day of use, before or after it is not known"
    elif live(certificates) and not confirmed:
        text = "its certificate is not confirmed by a second person"
    else:
        text = "no certificate on file covers that day"
    return None, Fault(reason=not_shown("instrument_no_certificate"), text=text)


def _calibrated_before(certificate: Certificate, use: Use) -> str:
    day = certificate.calibrated_on
    if day < use.days[0]:
        return "true"
    if day > use.days[1]:
        return "false"
    if certificate.calibrated_at is None:
        return "unknown"
    return happened_before(Moment.exact(certificate.calibrated_at), use.at)


def _interval(equipment: Equipment, use: Use, due: date | None) -> list[Fault]:
    faults: list[Fault] = []
    if due is not None and use.days[1] > due:
        days = (use.days[1] - due).days
        reason = not_met("instrument_overdue") if use.days[0] > due else not_shown("undecided")
        unit = "day" if days == 1 else "days"
        faults.append(Fault(reason=reason, text=f"it was due on {due.isoformat()}, overdue by {days} {unit}"))
    limit = equipment.interval_uses
    if limit is not None and use.number is not None and use.number > limit:
        text = f"this was use number {use.number} since its calibration, {limit} are allowed"
        faults.append(Fault(reason=not_met("instrument_overdue"), text=text))
    return faults


def _range(certificate: Certificate, use: Use) -> list[Fault]:
    """Points that bracket the reading, or a statement of conformity for the whole range."""
    if certificate.mpe_statement:
        return []
    faults: list[Fault] = []
    for value, unit in use.values:
        shown = [point.indication for point in certificate.points if point.unit == unit]
        if shown and min(shown) <= to_six(value) <= max(shown):
            continue
        what = f"{min(shown):g} to {max(shown):g} {unit}" if shown else f"no point in {unit}"
        text = f"the reading {to_six(value):g} {unit} lies outside the calibrated points ({what})"
        faults.append(Fault(reason=not_shown("instrument_range"), text=text))
    return faults
