"""Climate logs of glass work: CSV with header ``t,temp_c,rh_percent``."""

from typing import BinaryIO, Final

from jobs.intake.csv_table import read_table
from jobs.intake.decoded import ClimateFacts
from jobs.intake.log_text import check_order, check_range, is_slow

LOWEST_TEMP_C: Final = -60.0
HIGHEST_TEMP_C: Final = 100.0
LONGEST_STEP_S: Final = 900.0


def read_climate_log(data: bytes, _: BinaryIO | None) -> tuple[ClimateFacts, list[str]]:
    """Samples of temperature (degC) and relative humidity (percent).

    Raises:
        Refused: every code of :func:`jobs.intake.csv_table.read_table`, ``number_format``, ``time_format``,
            ``log_out_of_range``, ``log_time_order``.
    """
    table = read_table(data, (("t", "temp_c", "rh_percent"),))
    samples = [
        (
            table.time(row),
            check_range(row.number("temp_c"), LOWEST_TEMP_C, HIGHEST_TEMP_C, "temp_c", row.line),
            check_range(row.number("rh_percent"), 0.0, 100.0, "rh_percent", row.line),
        )
        for row in table.rows
    ]
    times = [sample[0] for sample in samples]
    check_order(times, [row.line for row in table.rows], "Row")
    return {"samples": samples}, ["slow_sampling"] if is_slow(times, LONGEST_STEP_S) else []
