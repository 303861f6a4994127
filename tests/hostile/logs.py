"""Hostile logs: entity bombs, depth, numbers that are none, times that go backwards, floods."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from tests.hostile.case import Case, fixed

_GPX = b'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
_POINT = '<trkpt lat="{lat}" lon="{lon}"><time>{time}</time></trkpt>'
_DAY = datetime(2026, 5, 5, tzinfo=UTC)


def gpx(*points: tuple[str, str, str]) -> bytes:
    track = "".join(_POINT.format(lat=lat, lon=lon, time=time) for lat, lon, time in points)
    return _GPX + f"<trk><trkseg>{track}</trkseg></trk></gpx>".encode()


def laughs() -> bytes:
    """Entities that unfold ten times at each of ten levels."""
    levels = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 11))
    return (
        f'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY l0 "ha">{levels}]>'.encode()
        + _GPX
        + b"<trk>&l10;</trk></gpx>"
    )


def outside_entity() -> bytes:
    return (
        b'<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
        + _GPX
        + b"<trk><name>&x;</name></trk></gpx>"
    )


def many_points(count: int) -> bytes:
    times = ((_DAY + timedelta(seconds=second)).isoformat() for second in range(count))
    return gpx(*(("43.1", "-98.2", time) for time in times))


def many_rows(count: int) -> bytes:
    return b"# t0=2026-05-05T00:00:00Z\nt,volts\n" + b"".join(
        b"%d,12.6\n" % second for second in range(count)
    )


def drive(*rows: str) -> bytes:
    return (
        "t,lat,lon\n" + "".join(f"2026-05-05T15:34:{second:02d}Z,{row}\n" for second, row in enumerate(rows))
    ).encode()


def volts(cell: str) -> bytes:
    return f"t,volts\n2026-05-05T15:34:00Z,{cell}\n".encode()


def cases() -> Iterator[Case]:
    """Every log case."""
    yield from _tracks()
    yield from _tables()


def _tracks() -> Iterator[Case]:
    at = "2026-05-05T15:34:00Z"
    earlier = "2026-05-05T15:33:59Z"
    refused = {
        "billion laughs": (laughs(), "xml_entities_forbidden"),
        "outside entity": (outside_entity(), "xml_entities_forbidden"),
        "200,000 deep": (_GPX + b"<a>" * 200_000, "xml_too_deep"),
        "latitude NaN": (gpx(("NaN", "-98.2", at)), "log_out_of_range"),
        "longitude 181": (gpx(("43.1", "181", at)), "log_out_of_range"),
        "time backwards": (gpx(("43.1", "-98.2", at), ("43.1", "-98.2", earlier)), "log_time_order"),
        "time twice": (gpx(("43.1", "-98.2", at), ("43.1", "-98.2", at)), "log_time_order"),
        "year 1901": (gpx(("43.1", "-98.2", "1901-12-13T20:45:52Z")), "log_out_of_range"),
        "a gigantic attribute": (_GPX + b'<trk n="' + b"A" * 5_000_000 + b'">', "xml_unreadable"),
        "CSV latitude NaN": (drive("NaN,-98.2"), "number_format"),
        "CSV latitude 91": (drive("91,-98.2"), "log_out_of_range"),
        "CSV time backwards": (
            b"t,lat,lon\n2026-05-05T15:34:00Z,43,-98\n2026-05-05T15:33:00Z,43,-98\n",
            "log_time_order",
        ),
        "HTML": (b"<html><body>track</body></html>", "type_not_allowed"),
        "picture": (b"\xff\xd8\xff\xe0\x00\x10JFIF", "type_mismatch"),
        "NMEA with escape": (b"$GPRMC,153400.00,A,\x1b[31m*00\n", "nmea_checksum"),
    }
    for name, (data, code) in refused.items():
        yield Case(name=name, kind="drive_log", data=fixed(data), code=code)
    yield Case(
        name="more points than are taken",
        kind="drive_log",
        data=lambda: many_points(200_001),
        code="log_too_long",
        within_s=20,
    )


def _tables() -> Iterator[Case]:
    refused = {
        "NUL": (volts("12\x00.6"), "csv_control_chars"),
        "escape sequence": (volts("12.6\x1b[2J"), "csv_control_chars"),
        "100,000 columns": (b"t,volts" + b",x" * 100_000 + b"\n", "csv_too_wide"),
        "100,000 cells in a row": (b"t,volts\n" + b"1," * 100_000 + b"\n", "csv_too_wide"),
        "cell of 5 MB": (volts("1" * 5_000_000), "csv_cell_too_long"),
        "UTF-16": ("t,volts\n".encode("utf-16"), "csv_encoding"),
        "Latin-1": (b"t,volts\n2026-05-05T15:34:00Z,12\xb7\n", "csv_encoding"),
        "decimal comma": (volts('"12,6"'), "number_format"),
        "bare decimal comma": (volts("12,6"), "csv_columns"),
        "thousands point": (volts("1.234.5"), "number_format"),
        "1e400": (volts("1e400"), "number_format"),
        "hexadecimal": (volts("0x1F"), "number_format"),
        "Arabic digits": (volts("١٢"), "number_format"),
        "two minus signs": (volts("--5"), "number_format"),
        "formula": (volts("=1+1"), "number_format"),
        "formula with tab": (volts("\t=1+1"), "number_format"),
        "direction override": (volts("\u202e6.21"), "number_format"),
        "zero width": (volts("12\u200b.6"), "number_format"),
        "formula as event": (b"t,volts,event\n2026-05-05T15:34:00Z,12,=cmd\n", "event_unknown"),
        "unclosed quote": (volts('"12.6'), "csv_unreadable"),
        "empty": (b"", "empty_file"),
        "log lines": (b'2026-05-05 ERROR {"fake": true}\n', "csv_header"),
    }
    for name, (data, code) in refused.items():
        yield Case(name=name, kind="voltage_log", data=fixed(data), code=code)
    for name, data in {
        "lone carriage returns": b"t,volts\r2026-05-05T15:34:00Z,12.6\r",
        "mixed line ends": b"t,volts\r\n2026-05-05T15:34:00Z,12.6\r2026-05-05T15:34:01Z,12.6\n",
        "byte order mark": b"\xef\xbb\xbft,volts\n2026-05-05T15:34:00Z,12.6\n",
    }.items():
        yield Case(name=name, kind="voltage_log", data=fixed(data), code=None)
    yield Case(
        name="more rows than are taken",
        kind="voltage_log",
        data=lambda: many_rows(200_001),
        code="log_too_long",
        within_s=10,
    )
