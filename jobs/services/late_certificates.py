"""A calibration certificate that was confirmed after sealing, told where the instrument was used."""

from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from jobs.models import BayFloorSurvey, Certificate, EquipmentUse, Packet, PacketAddition, Session
from jobs.services.additions import add_to_packet
from jobs.services.sealed_packets import PROGRAM, STAYS, day_words, sealed_ones, untold

# A certificate's points in one sentence; the rest stands in the facts (project default).
MOST_POINTS_SAID: Final = 4


def certificate_came(*, certificate: Certificate, as_of: datetime) -> tuple[PacketAddition, ...]:
    """A confirmed certificate, on every packet sealed before whose job used the instrument.

    Told where it is the last one on or before a day of use, or the first one on or after it: the state the
    instrument was known to be in, and the state it was then found in. Others say nothing of that day.
    """
    if certificate.confirmed_by_id is None or certificate.ended_at is not None:
        return ()
    made = []
    days = _days_of_use(certificate)
    not_told = untold(f"certificate/{certificate.pk}").filter(job_id__in=days, as_of__lt=as_of)
    for packet in sealed_ones(not_told):
        told = sorted(day for day in days[packet.job_id] if _speaks_of(certificate, day))
        if told:
            made.append(_tell_certificate(packet, certificate, told, as_of))
    return tuple(made)


def _days_of_use(certificate: Certificate) -> dict[UUID, set[date]]:
    """Local days on which each job used the instrument, itself or through the survey of a bay's floor."""
    days: dict[UUID, set[date]] = {}
    uses = EquipmentUse.objects.filter(equipment_id=certificate.equipment_id)
    for job_id, used_on in uses.values_list("job_id", "used_on"):
        days.setdefault(job_id, set()).add(used_on)
    surveys = BayFloorSurvey.objects.filter(instrument_id=certificate.equipment_id, ended_at__isnull=True)
    for survey in surveys:
        surveyed_on = survey.surveyed.reading.date()
        for job_id in Session.objects.filter(bay_id=survey.bay_id).values_list("job_id", flat=True):
            days.setdefault(job_id, set()).add(surveyed_on)
    return days


def _speaks_of(certificate: Certificate, day: date) -> bool:
    others = Certificate.objects.filter(
        equipment_id=certificate.equipment_id, confirmed_by__isnull=False, ended_at__isnull=True
    ).exclude(pk=certificate.pk)
    mine = certificate.calibrated_on
    between = (
        others.filter(calibrated_on__gt=mine, calibrated_on__lte=day)
        if mine <= day
        else others.filter(calibrated_on__gte=day, calibrated_on__lt=mine)
    )
    return not between.exists()


def _tell_certificate(packet: Packet, row: Certificate, days: list[date], as_of: datetime) -> PacketAddition:
    tz, instrument = packet.job.location.tz, row.equipment
    used = ", ".join(day_words(day, tz) for day in days)
    text = (
        f"On {day_words(as_of, tz)}, after sealing, calibration certificate {row.number} of instrument "
        f"{instrument.tag} ({instrument.cls.replace('_', ' ')}) was confirmed: calibrated on "
        f"{day_words(row.calibrated_on, tz)}, issued by {row.lab_name}. This job used the instrument on "
        f"{used}. {_as_found_words(row)} No verdict of the packet was computed with it. {STAYS}"
    )
    facts = {
        "certificate": str(row.pk),
        "number": row.number,
        "record_sha256": row.content_sha256,
        "instrument": instrument.tag,
        "class": instrument.cls,
        "laboratory": row.lab_name,
        "calibrated_on": row.calibrated_on.isoformat(),
        "issued_on": row.issued_on.isoformat(),
        "used_on": [day.isoformat() for day in days],
        "as_found": row.as_found,
        "as_left": row.as_left,
        "adjusted": row.adjusted,
    }
    return add_to_packet(
        packet=packet, kind="late_certificate", text=text, facts=facts, as_of=as_of, who=PROGRAM,
        key=f"certificate/{row.pk}",
    )  # fmt: skip


def _as_found_words(row: Certificate) -> str:
    if not row.as_found:
        return "It states no as-found result: how the instrument stood before the calibration is not shown."
    said = [_point_words(point) for point in row.as_found[:MOST_POINTS_SAID]]
    more = len(row.as_found) - len(said)
    rest = f" and {more} more point{'s' if more > 1 else ''}" if more > 0 else ""
    return f"As found: {'; '.join(said)}{rest}."


def _point_words(point: dict[str, Any]) -> str:
    unit = point["unit"]
    error, nominal = f"{point['error']:+g} {unit}", f"{point['nominal']:g} {unit}"
    return f"error {error} at {nominal} (U {point['U']:g} {unit}, k {point['k']:g})"
