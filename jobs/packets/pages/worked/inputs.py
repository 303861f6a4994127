"""The inputs of a sheet: as typed and as taken, with uncertainty, and where each is on record."""

from dataclasses import dataclass

from jobs.packets.pages import times
from jobs.packets.pages.words import plain, sentence_case
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import fig
from rules.display import tape_words, unit_text
from rules.facts import (
    ClimateLog,
    DriveLog,
    FloorSurvey,
    IdentityReading,
    Moment,
    Reading,
    Record,
    Scan,
    VoltageLog,
)

_NAMES = {
    "datum_separation_front": "front marks apart",
    "datum_separation_rear": "rear marks apart",
    "stand_floor_z": "floor at the stand",
    "floor_z": "floor under a wheel",
    "temp": "air temperature",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One row: what, as typed, as taken (with unit), u, and where it is on record."""

    name: str
    typed: str
    taken: str
    u: str
    source: str
    at: str


def inputs_of(paper: Paper) -> list[Input]:
    """Readings, logs and scans of the verdict in the order in which they were taken.

    The sheet of the instruments has its own table, and every reading of the record would stand there again.
    """
    if paper.finding.check == "equipment_valid":
        return []
    found = [(at, row) for record in paper.records if (row := _row(paper, record)) for at in (_at(record),)]
    return [row for _, row in sorted(found, key=lambda item: (item[0] is None, item[0], item[1].name))]


def budgets_of(paper: Paper) -> list[str]:
    """Where the uncertainties come from: each method budget once, with the readings it stands for."""
    told: dict[str, list[str]] = {}
    for reading in paper.readings:
        if reading.u_from and paper.finding.check != "equipment_valid":
            told.setdefault(_budget(reading), []).append(reading_name(reading))
    return [f"{', '.join(dict.fromkeys(names))}: {text}." for text, names in told.items()]


def _budget(reading: Reading) -> str:
    text = reading.u_from.rstrip(".")
    if reading.u_common:
        text += f"; shared by all readings with it: {fig(reading.u_common)} of the value"
    if reading.u_added:
        text += f"; correction applied afterwards, u {fig(reading.u_added)} {reading.unit}"
    return text


def reading_name(reading: Reading) -> str:
    """``left mark to right end of the bar (d LR)``, ``tire pressure, front left``."""
    if reading.quantity == "target_distance" and len(reading.place) == 4:
        return f"{tape_words(reading.place)} ({plain(reading.place)})"
    words = _NAMES.get(reading.quantity, plain(reading.quantity)).replace("tyre", "tire")
    return f"{words}, {plain(reading.place)}" if reading.place else words


def _row(paper: Paper, record: Record) -> Input | None:
    if isinstance(record, Reading):
        return _reading_row(paper, record)
    told = _told(record)
    if told is None:
        return None
    return Input(
        name=sentence_case(paper.context.record_name(record.id)).split(" (evidence")[0],
        typed=told[0],
        taken=told[1],
        u=told[2],
        source=_source(paper, record, told[3]),
        at=_time(paper, record),
    )


def _reading_row(paper: Paper, reading: Reading) -> Input:
    unit = unit_text(reading.unit)
    shown = "0, shown by the vehicle" if reading.vehicle_shown else ""
    u = shown or ("unknown" if reading.u is None else fig(reading.u))
    set_text = f", set {reading.set_no}" if reading.set_no > 1 else ""
    return Input(
        name=sentence_case(reading_name(reading)) + set_text,
        typed=f"{reading.typed_value} {reading.typed_unit}",
        taken=f"{fig(reading.value)} {unit}",
        u=u,
        source=_source(paper, reading, reading.instrument or ""),
        at=times.bracket(paper.context.place, reading.at),
    )


Told = tuple[str, str, str, str]


def _told(record: Record) -> Told | None:
    """As recorded, as taken, u, instrument of everything that is no single reading."""
    if isinstance(record, IdentityReading):
        return record.vin_read, record.vin_read, "", ""
    if isinstance(record, Scan):
        answered = sum(module.answered for module in record.modules)
        return f"{len(record.modules)} modules", f"{answered} answered", "", record.device or ""
    if isinstance(record, FloorSurvey):
        u = "unknown" if record.u_z is None else f"{fig(record.u_z)} mm a height"
        return f"{len(record.points)} points", "every one", u, record.instrument or ""
    return _told_log(record)


def _told_log(record: Record) -> Told | None:
    if isinstance(record, DriveLog):
        return f"{len(record.fixes)} positions", "every one", "", ""
    if isinstance(record, VoltageLog):
        u = "unknown" if record.u is None else fig(record.u)
        return f"{len(record.samples)} samples", "every one", u, record.instrument or ""
    if isinstance(record, ClimateLog):
        known = record.u_temp is not None and record.u_rh is not None
        u = f"{fig(record.u_temp or 0)} °C, {fig(record.u_rh or 0)} %" if known else "unknown"
        return f"{len(record.samples)} samples", "from setting on", u, record.instrument or ""
    return None


def _source(paper: Paper, record: Record, instrument: str) -> str:
    """The instrument, then the evidence number; the record's own id where no file shows it."""
    names = paper.context.names
    numbers = [n for item in (record.id, *record.evidence) if (n := names.evidence_number(item))]
    shown = ", ".join(dict.fromkeys(numbers)) or f"record {record.id[:8]}"
    return f"{instrument}; {shown}" if instrument else shown


def _moment(record: Record) -> Moment | None:
    if isinstance(record, Reading | IdentityReading):
        return record.at
    if isinstance(record, Scan):
        return record.ended
    if isinstance(record, FloorSurvey):
        return record.surveyed
    if isinstance(record, DriveLog) and record.fixes:
        return record.clock.moment(record.fixes[0].t)
    if isinstance(record, VoltageLog | ClimateLog) and record.samples:
        return record.clock.moment(record.samples[0][0])
    return None


def _at(record: Record) -> float | None:
    moment = _moment(record)
    return None if moment is None else moment.low.timestamp()


def _time(paper: Paper, record: Record) -> str:
    moment = _moment(record)
    return "" if moment is None else times.bracket(paper.context.place, moment)
