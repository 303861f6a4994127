"""Supply-voltage logs: CSV with header ``t,volts`` or ``t,volts,event``."""

from typing import BinaryIO, Final

from jobs.errors import Refused
from jobs.intake.csv_table import Row, read_table
from jobs.intake.decoded import VoltageFacts
from jobs.intake.log_text import check_order, check_range, is_slow

EVENTS: Final = ("crank_start", "crank_end", "key_on", "key_off", "support_on", "support_off")
# Covers 12 V and 24 V nets with room for charging spikes (project default).
MAX_VOLTS: Final = 60.0
LONGEST_STEP_S: Final = 5.0


def read_voltage_log(data: bytes, _: BinaryIO | None) -> tuple[VoltageFacts, list[str]]:
    """Samples and events; a row with an event may leave its voltage out.

    Raises:
        Refused: every code of :func:`jobs.intake.csv_table.read_table`, ``number_format``, ``time_format``,
            ``event_unknown``, ``log_out_of_range``, ``log_time_order``, ``log_empty``.
    """
    table = read_table(data, (("t", "volts"),), ("event",))
    samples: list[tuple[float, float]] = []
    events: list[tuple[float, str]] = []
    times = [table.time(row) for row in table.rows]
    check_order(times, [row.line for row in table.rows], "Row")
    for t, row in zip(times, table.rows, strict=True):
        event = _event(row)
        if event:
            events.append((t, event))
        if row.cells["volts"] or not event:
            samples.append((t, check_range(row.number("volts"), 0.0, MAX_VOLTS, "volts", row.line)))
    if not samples:
        raise Refused("log_empty", "The log holds no voltage.")
    notes = ["slow_sampling"] if is_slow([t for t, _ in samples], LONGEST_STEP_S) else []
    return {"samples": samples, "events": events}, notes


def _event(row: Row) -> str:
    event = row.cells.get("event", "")
    if event and event not in EVENTS:
        raise Refused(
            "event_unknown",
            f"Row {row.line}: {event[:40]!r} is none of {', '.join(EVENTS)}.",
            row=row.line,
            column="event",
        )
    return event
