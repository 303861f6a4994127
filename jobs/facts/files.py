"""Evidence files as the judgement's own records: photos, logs, and the list of all others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal
from uuid import UUID

from jobs.facts.clock_book import DEVICE_MARK, ClockBook
from jobs.facts.clocks import satellite_clock
from jobs.facts.rows import base, text_or_none
from jobs.facts.uncertainty import Budgets, Typed
from jobs.models import Evidence, SlipCode
from rules import facts

CAMERA_TIME = "camera time"
LOG_KINDS = ("climate_log", "voltage_log", "drive_log")


@dataclass(frozen=True, slots=True, kw_only=True)
class FileContext:
    """What turning files into facts needs beside the rows themselves.

    ``own_clocks`` maps an instrument's id to the id of the clock it carries.
    """

    book: ClockBook
    budgets: Budgets
    own_clocks: Mapping[UUID, UUID]
    slips: Mapping[str, SlipCode]
    reuse: Mapping[UUID, tuple[facts.Reuse, ...]]


def log_clock_name(row: Evidence, own_clocks: Mapping[UUID, UUID]) -> str:
    """Whose clock stamped a log: the named device's, else the instrument's own, else one that
    nobody knows."""
    if row.device_id is not None:
        return f"{DEVICE_MARK}{row.device_id}"
    own = own_clocks.get(row.instrument_id) if row.instrument_id is not None else None
    return f"{DEVICE_MARK}{own if own is not None else f'unnamed-{row.pk}'}"


def _sessions(row: Evidence) -> tuple[str, ...]:
    named = [str(row.session_id)] if row.session_id is not None else []
    return tuple(dict.fromkeys([*named, *row.sessions]))


def _tag(row: Evidence) -> str | None:
    return row.instrument.tag if row.instrument is not None else None


def _log_u(row: Evidence, quantity: str, largest: float, budgets: Budgets) -> float | None:
    """The uncertainty of one sample of a log: by the logger's budget; none without its logger.

    A logger writes its own digits, so nothing typed adds to it; a share of the value is taken of the largest.
    """
    cls = row.instrument.cls if row.instrument is not None else ""
    u, _ = budgets.of(quantity, cls, Typed(value=largest, resolution=0.0))
    return u


def _largest(samples: Sequence[Sequence[float]], column: int) -> float:
    return max((abs(sample[column]) for sample in samples), default=0.0)


def climate_log(row: Evidence, context: FileContext) -> facts.ClimateLog:
    samples = row.decoded["samples"]
    clock = log_clock_name(row, context.own_clocks)
    return facts.ClimateLog(
        **_file_base(row),
        clock=context.book.log(clock, samples[0][0], row.received_at),
        samples=tuple((float(t), float(temp), float(rh)) for t, temp, rh in samples),
        instrument=_tag(row),
        u_temp=_log_u(row, "temp", _largest(samples, 1), context.budgets),
        u_rh=_log_u(row, "rh", _largest(samples, 2), context.budgets),
    )


def voltage_log(row: Evidence, context: FileContext) -> facts.VoltageLog:
    samples = row.decoded["samples"]
    clock = log_clock_name(row, context.own_clocks)
    return facts.VoltageLog(
        **_file_base(row),
        clock=context.book.log(clock, samples[0][0], row.received_at),
        samples=tuple((float(t), float(volts)) for t, volts in samples),
        events=tuple((float(t), str(name)) for t, name in row.decoded["events"]),
        instrument=_tag(row),
        u=_log_u(row, "supply_voltage", _largest(samples, 1), context.budgets),
        sessions=_sessions(row),
    )


def drive_log(row: Evidence, context: FileContext) -> facts.DriveLog:
    """Positions carry satellite time."""
    fixes = row.decoded["fixes"]
    first = datetime.fromtimestamp(fixes[0][0], tz=UTC) if fixes else None
    return facts.DriveLog(
        **_file_base(row),
        clock=satellite_clock(first, row.received_at),
        fixes=tuple(
            facts.Fix(
                t=float(t),
                lat=float(lat),
                lon=float(lon),
                speed_kph=speed,
                course_deg=course,
                accuracy_m=near,
            )
            for t, lat, lon, speed, course, near in fixes
        ),
        sessions=_sessions(row),
        reuse=tuple(item for item in context.reuse.get(row.pk, ()) if item.same_bytes),
    )


def _file_base(row: Evidence) -> Any:
    """What every record has, with the hash of the file's bytes and the file itself as its evidence."""
    return {**base(row), "sha256": row.sha256, "evidence": (str(row.pk),)}


def _item(row: Evidence, book: ClockBook) -> Any:
    return {
        **base(row),
        "sha256": row.sha256,
        "number": row.number or 0,
        "kind": row.kind,
        "stage": row.stage,
        "media_type": row.media_type,
        "size_bytes": row.size_bytes,
        "by": row.captured_by.login,
        "captured": _captured(row, book),
        "captured_how": row.captured_how,
        "file_name": row.file_name,
        "session": text_or_none(row.session_id),
        "shows": tuple(row.shows),
        "instrument": _tag(row),
    }


def _captured(row: Evidence, book: ClockBook) -> facts.Moment:
    """When a file was made. A camera time without its zone was read in the shop's, which the camera need not
    have been set to: it shares no offset with what else the device stamped."""
    captured = book.moment(row.captured, row.received_at)
    has_zone = row.captured_how != CAMERA_TIME or bool(row.decoded.get("exif_at"))
    if has_zone or not captured.clock.startswith(DEVICE_MARK) or "@" in captured.clock:
        return captured
    return replace(captured, clock=f"{captured.clock}@camera time without zone")


def file_item(row: Evidence, context: FileContext) -> facts.EvidenceItem:
    return facts.EvidenceItem(**_item(row, context.book))


def photo(row: Evidence, context: FileContext) -> facts.Photo:
    """A picture with what its decoder found at receipt."""
    found = row.decoded
    slip = _slip(row, context)
    return facts.Photo(
        **{**_item(row, context.book), **_capture(row, context.book, slip)},
        width=int(found["width"]),
        height=int(found["height"]),
        laplacian_variance=found.get("laplacian_variance"),
        clipped_share=found.get("clipped_share"),
        readable=_readable(row.readable),
        lat=row.lat,
        lon=row.lon,
        accuracy_m=row.accuracy_m,
        has_exif_time=bool(found.get("exif_time")),
        slip=slip,
        reuse=context.reuse.get(row.pk, ()),
    )


def _readable(text: str) -> Literal["yes", "no", "not_judged"]:
    if text == "yes":
        return "yes"
    return "no" if text == "no" else "not_judged"


def _capture(row: Evidence, book: ClockBook, slip: facts.SlipSeen | None) -> dict[str, Any]:
    """When a picture was taken: a slip of ours in it gives a bracket by server time, from issue to receipt.

    What a clock says narrows the bracket and never widens it. A clock that says the picture is older than the
    slip in it is wrong.
    """
    captured = _captured(row, book)
    if slip is None or not slip.authentic:
        return {"captured": captured, "captured_how": row.captured_how}
    if captured.high < slip.issued_at:
        bracket = facts.Moment(
            low=slip.issued_at, high=row.received_at, reading=row.received_at, clock="server"
        )
        how = f"between slip and receipt, against the {row.captured_how}"
        return {"captured": bracket, "captured_how": how}
    narrowed = replace(captured, low=max(captured.low, slip.issued_at))
    return {"captured": narrowed, "captured_how": f"{row.captured_how}, not before the slip in the picture"}


def _slip(row: Evidence, context: FileContext) -> facts.SlipSeen | None:
    """The slip whose code was read from the picture; one that is not on file was not issued here."""
    if not row.slip_code:
        return None
    issued = context.slips.get(row.slip_code)
    if issued is None:
        return facts.SlipSeen(job_id="", issued_at=row.received_at, authentic=False)
    return facts.SlipSeen(job_id=str(issued.job_id), issued_at=issued.issued_at, authentic=True)
