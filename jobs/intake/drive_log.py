"""Drive logs: fixes on WGS 84 with their checks, and the CSV form (GPX and NMEA stand apart)."""

from typing import BinaryIO, Final

from jobs.errors import Refused
from jobs.intake.csv_table import Row, Table, read_table
from jobs.intake.decoded import DriveFacts, FixRow
from jobs.intake.log_text import check_order, check_range, is_slow

MAX_FIXES: Final = 200_000
# Half a fix per second is the least that can show a steady drive.
LONGEST_STEP_S: Final = 2.0
MAX_SPEED_KPH: Final = 400.0
MAX_ACCURACY_M: Final = 100_000.0
OPTIONAL_COLUMNS: Final = ("speed_kph", "course_deg", "accuracy_m")


def drive_facts(
    source: str, fixes: list[FixRow], rows: list[int], where: str
) -> tuple[DriveFacts, list[str]]:
    """Facts and notes of a drive log whose single values are checked already.

    Args:
        source: csv, gpx or nmea.
        fixes: in file order.
        rows: the row, point or line number of each fix.
        where: what ``rows`` counts, for the sentence.

    Raises:
        Refused: ``log_empty`` or ``log_time_order``.
    """
    if not fixes:
        raise Refused("log_empty", "The log holds no position.")
    times = [fix[0] for fix in fixes]
    check_order(times, rows, where)
    notes = ["slow_sampling"] if is_slow(times, LONGEST_STEP_S) else []
    return {"source": source, "fixes": fixes}, notes


def too_long() -> Refused:
    """The refusal for a log with more fixes than are taken."""
    return Refused("log_too_long", f"The log has more than {MAX_FIXES} positions.", max_rows=MAX_FIXES)


def check_position(lat: float, lon: float, row: int) -> tuple[float, float]:
    """Degrees north and east; refuses ``log_out_of_range``, also for NaN."""
    return check_range(lat, -90.0, 90.0, "lat", row), check_range(lon, -180.0, 180.0, "lon", row)


def check_optional(
    speed_kph: float | None, course_deg: float | None, accuracy_m: float | None, row: int
) -> tuple[float | None, float | None, float | None]:
    """The three optional values of a fix, each in its range or None; refuses ``log_out_of_range``."""
    return (
        None if speed_kph is None else check_range(speed_kph, 0.0, MAX_SPEED_KPH, "speed_kph", row),
        None if course_deg is None else _course(course_deg, row),
        None if accuracy_m is None else check_range(accuracy_m, 0.0, MAX_ACCURACY_M, "accuracy_m", row),
    )


def _course(course_deg: float, row: int) -> float:
    """Degrees in [0, 360); 360 is the same direction as 0 and some receivers write it."""
    return check_range(course_deg, 0.0, 360.0, "course_deg", row) % 360.0


def read_drive_csv(data: bytes, _: BinaryIO | None) -> tuple[DriveFacts, list[str]]:
    """CSV with header ``t,lat,lon`` and optional ``speed_kph``, ``course_deg``, ``accuracy_m``.

    Raises:
        Refused: every code of :func:`jobs.intake.csv_table.read_table`, ``number_format``, ``time_format``,
            ``log_out_of_range``, ``log_time_order``.
    """
    table = read_table(data, (("t", "lat", "lon"),), OPTIONAL_COLUMNS)
    fixes = [_fix(table, row) for row in table.rows]
    return drive_facts("csv", fixes, [row.line for row in table.rows], "Row")


def _fix(table: Table, row: Row) -> FixRow:
    lat, lon = check_position(row.number("lat"), row.number("lon"), row.line)
    speed, course, accuracy = (row.optional_number(name) for name in OPTIONAL_COLUMNS)
    return table.time(row), lat, lon, *check_optional(speed, course, accuracy, row.line)
