"""CSV logs: drive, voltage and climate, good files and every refusal with its row."""

import pytest

from jobs.errors import Refused
from jobs.intake.climate_log import read_climate_log
from jobs.intake.csv_table import MAX_CELL, MAX_ROWS, read_table
from jobs.intake.drive_log import read_drive_csv
from jobs.intake.voltage_log import read_voltage_log

# 2026-05-05T15:34:00Z as POSIX seconds: `date -u -d 2026-05-05T15:34:00Z +%s`.
T0 = 1777995240.0
DRIVE = "t,lat,lon,speed_kph,course_deg,accuracy_m\r\n"


def refusal_of(data: bytes | str, reader=read_drive_csv) -> Refused:  # type: ignore[no-untyped-def]
    with pytest.raises(Refused) as refusal:
        reader(data.encode() if isinstance(data, str) else data, None)
    return refusal.value


def test_drive_with_offset_times() -> None:
    text = DRIVE + (
        "2026-05-05T10:34:00-05:00,43.1,-98.2,40.5,0,5\r\n2026-05-05T15:34:01.500Z,43.1001,-98.2,,360,\r\n"
    )
    facts, notes = read_drive_csv(text.encode(), None)
    assert facts == {
        "source": "csv",
        "fixes": [(T0, 43.1, -98.2, 40.5, 0.0, 5.0), (T0 + 1.5, 43.1001, -98.2, None, 0.0, None)],
    }
    assert notes == []


def test_drive_with_seconds_from_start() -> None:
    text = (
        "# t0=2026-05-05T15:34:00Z\nt,lat,lon\n0,43.1,-98.2\n0.5,43.1,-98.2\n4.5,43.1,-98.2\n9,43.1,-98.2\n"
    )
    facts, notes = read_drive_csv(text.encode(), None)
    assert [fix[0] for fix in facts["fixes"]] == [T0, T0 + 0.5, T0 + 4.5, T0 + 9]
    assert notes == ["slow_sampling"]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_byte_order_mark_and_line_ends(ending: str) -> None:
    text = ending.join(["t,volts", "2026-05-05T15:34:00Z,12.6", "", "2026-05-05T15:34:02Z,12.5", ""])
    facts, _ = read_voltage_log(b"\xef\xbb\xbf" + text.encode(), None)
    assert facts["samples"] == [(T0, 12.6), (T0 + 2, 12.5)]


def test_quoted_cells_are_cells() -> None:
    facts, _ = read_voltage_log(b't,volts\n"2026-05-05T15:34:00Z","12.6"\n', None)
    assert facts["samples"] == [(T0, 12.6)]


@pytest.mark.parametrize(
    "header",
    [
        "t,lat",
        "lat,lon,t",
        "T,lat,lon",
        "t, lat,lon",
        "t;lat;lon",
        "t,lat,lon,course_deg,speed_kph",
        "t,lat,lon,alt",
        "t,lat,lon,speed_kph,speed_kph",
        "",
        "t,lat,lon,",
    ],
)
def test_header_is_exact(header: str) -> None:
    assert refusal_of(f"{header}\n2026-05-05T15:34:00Z,43.1,-98.2\n").code == "csv_header"


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        ("12,5", "csv_columns"),
        ('"12,5"', "number_format"),
        ("1.234.5", "number_format"),
        ("1e400", "number_format"),
        ("0x1F", "number_format"),
        ("٤٣", "number_format"),
        ("--5", "number_format"),
        ("NaN", "number_format"),
        ("", "number_format"),
        ("=43", "number_format"),
        ("-90.001", "log_out_of_range"),
        ("90.001", "log_out_of_range"),
    ],
)
def test_latitude_cell(cell: str, code: str) -> None:
    refusal = refusal_of(f"t,lat,lon\n2026-05-05T15:34:00Z,43,-98\n2026-05-05T15:34:01Z,{cell},-98.2\n")
    assert refusal.code == code
    assert refusal.extra["row"] == 3
    if code != "csv_columns":
        assert refusal.extra["column"] == "lat"


@pytest.mark.parametrize(
    ("column", "value", "accepted"),
    [
        ("lon", "180", True),
        ("lon", "180.0001", False),
        ("lon", "-180", True),
        ("speed_kph", "0", True),
        ("speed_kph", "-0.1", False),
        ("speed_kph", "400", True),
        ("speed_kph", "401", False),
        ("course_deg", "360", True),
        ("course_deg", "360.1", False),
        ("course_deg", "-1", False),
        ("accuracy_m", "-1", False),
        ("accuracy_m", "3", True),
    ],
)
def test_ranges(column: str, value: str, accepted: bool) -> None:
    cells = {
        "t": "2026-05-05T15:34:00Z",
        "lat": "43",
        "lon": "-98",
        "speed_kph": "",
        "course_deg": "",
        "accuracy_m": "",
    }
    data = (DRIVE + ",".join((cells | {column: value}).values()) + "\n").encode()
    if accepted:
        read_drive_csv(data, None)
    else:
        assert refusal_of(data).code == "log_out_of_range"


@pytest.mark.parametrize(
    "time",
    ["2026-05-05T15:34:00", "1777995240", "05/05/2026 15:34", "2026-05-05T25:00:00Z", "", "15:34:00"],
)
def test_times_without_offset_are_not_guessed(time: str) -> None:
    assert refusal_of(f"t,lat,lon\n{time},43,-98\n").code == "time_format"


@pytest.mark.parametrize(
    "line", ["# t0=2026-05-05T15:34:00", "# t0=yesterday", "# t0 = 2026-05-05T15:34:00Z", "#"]
)
def test_start_line(line: str) -> None:
    assert refusal_of(f"{line}\nt,lat,lon\n0,43,-98\n").code == "time_format"


def test_seconds_from_start_are_numbers() -> None:
    refusal = refusal_of("# t0=2026-05-05T15:34:00Z\nt,lat,lon\n2026-05-05T15:34:00Z,43,-98\n")
    assert (refusal.code, refusal.extra["column"]) == ("number_format", "t")


@pytest.mark.parametrize(
    "second", ["2026-05-05T15:34:00Z", "2026-05-05T15:33:59Z", "2026-05-05T16:34:00+01:00"]
)
def test_times_must_rise(second: str) -> None:
    for reader, header, cells in (
        (read_drive_csv, "t,lat,lon", "43,-98"),
        (read_voltage_log, "t,volts", "12.5"),
        (read_climate_log, "t,temp_c,rh_percent", "20,50"),
    ):
        refusal = refusal_of(f"{header}\n2026-05-05T15:34:00Z,{cells}\n{second},{cells}\n", reader)
        assert (refusal.code, refusal.extra["row"]) == ("log_time_order", 3)


@pytest.mark.parametrize(
    ("data", "code"),
    [
        ("t,volts\n2026-05-05T15:34:00Z,12\x00.5\n", "csv_control_chars"),
        ("t,volts\n2026-05-05T15:34:00Z,12.5\x1b[31m\n", "csv_control_chars"),
        ("t,volts\n2026-05-05T15:34:00Z,12.5\u2028\n", "csv_control_chars"),
        ("t,volts\n2026-05-05T15:34:00Z,12.5\u202e\n", "number_format"),
        (b"t,volts\n2026-05-05T15:34:00Z,12.5\xb0\n", "csv_encoding"),
        ("t,volts\n".encode("utf-16"), "csv_encoding"),
        ("t,volts\n", "log_empty"),
        ('t,volts\n2026-05-05T15:34:00Z,"12.5\n', "csv_unreadable"),
        ('t,volts\n2026-05-05T15:34:00Z,"12.5"x\n', "csv_unreadable"),
        ("t,volts\n2026-05-05T15:34:00Z,60.1\n", "log_out_of_range"),
        ("t,volts\n2026-05-05T15:34:00Z,-0.1\n", "log_out_of_range"),
        ("t,volts\n1979-05-05T15:34:00Z,12\n", "log_out_of_range"),
        ("t,volts,event\n2026-05-05T15:34:00Z,12.5,=cmd\n", "event_unknown"),
        ("t,volts,event\n2026-05-05T15:34:00Z,,\n", "number_format"),
        ("t,volts,event\n2026-05-05T15:34:00Z,,key_on\n", "log_empty"),
        ("t,volts\n" + "1," * 40 + "\n", "csv_too_wide"),
        ("t,volts\n2026-05-05T15:34:00Z," + "1" * (MAX_CELL + 1) + "\n", "csv_cell_too_long"),
        ("t,volts\n2026-05-05T15:34:00Z," + "1" * 5_000_000 + "\n", "csv_cell_too_long"),
        (",".join(["t"] * 100_000) + "\n", "csv_too_wide"),
    ],
)
def test_voltage_refusals(data: bytes | str, code: str) -> None:
    assert refusal_of(data, read_voltage_log).code == code


def test_encoding_refusal_names_the_byte() -> None:
    refusal = refusal_of(b"t,volts\n\xe9", read_voltage_log)
    assert refusal.extra == {"byte": 8}


def test_voltage_events() -> None:
    text = (
        "# t0=2026-05-05T15:34:00Z\nt,volts,event\n0,12.6,key_on\n1,,crank_start\n2,9.8,\n3,,crank_end\n"
        "8,13.9,\n14,13.9,\n20,13.9,\n"
    )
    facts, notes = read_voltage_log(text.encode(), None)
    assert facts["events"] == [(T0, "key_on"), (T0 + 1, "crank_start"), (T0 + 3, "crank_end")]
    assert [t - T0 for t, _ in facts["samples"]] == [0, 2, 8, 14, 20]
    assert notes == ["slow_sampling"]


@pytest.mark.parametrize(
    ("cells", "accepted"),
    [
        ("-60,0", True),
        ("100,100", True),
        ("-60.1,50", False),
        ("100.1,50", False),
        ("20,100.1", False),
        ("20,-1", False),
    ],
)
def test_climate_ranges(cells: str, accepted: bool) -> None:
    data = f"t,temp_c,rh_percent\n2026-05-05T15:34:00Z,{cells}\n"
    if accepted:
        temp, humidity = (float(cell) for cell in cells.split(","))
        assert read_climate_log(data.encode(), None)[0]["samples"] == [(T0, temp, humidity)]
    else:
        assert refusal_of(data, read_climate_log).code == "log_out_of_range"


def test_climate_in_fahrenheit_has_another_header() -> None:
    assert (
        refusal_of("t,temp_f,rh_percent\n2026-05-05T15:34:00Z,66,52\n", read_climate_log).code == "csv_header"
    )


@pytest.mark.parametrize(("rows", "accepted"), [(MAX_ROWS, True), (MAX_ROWS + 1, False)])
def test_row_cap(rows: int, accepted: bool) -> None:
    data = b"t,volts\n" + b"0,1\n" * rows
    if accepted:
        assert len(read_table(data, (("t", "volts"),)).rows) == rows
    else:
        with pytest.raises(Refused) as refusal:
            read_table(data, (("t", "volts"),))
        assert refusal.value.code == "log_too_long"
