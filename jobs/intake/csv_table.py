"""Reading a CSV log (RFC 4180, UTF-8) into typed cells: exact header, one row per sample, all bounded."""

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from jobs.errors import Refused
from jobs.intake.log_text import check_instant, posix_seconds, read_instant, read_number

MAX_ROWS: Final = 200_000
MAX_COLUMNS: Final = 32
MAX_CELL: Final = 200
_CONTROL: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\x80-\x9f\u2028\u2029]")
_START: Final = re.compile(r"#\s?t0=(\S+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Row:
    """One data row: ``line`` in the file, and its cells by column name."""

    line: int
    cells: dict[str, str]

    def number(self, column: str) -> float:
        """The number in ``column``; refuses ``number_format`` with row and column."""
        text = self.cells[column]
        value = read_number(text)
        if value is None:
            raise Refused(
                "number_format",
                f"Row {self.line}, {column}: {text[:40]!r} is not a number written with a decimal point.",
                row=self.line,
                column=column,
            )
        return value

    def optional_number(self, column: str) -> float | None:
        """As :meth:`number`; None where the column or its content is absent."""
        return self.number(column) if self.cells.get(column) else None


@dataclass(frozen=True, slots=True)
class Table:
    """A log's rows; ``t0`` (POSIX seconds) is set where times are seconds from a ``# t0=`` line."""

    rows: list[Row]
    t0: float | None

    def time(self, row: Row) -> float:
        """POSIX seconds of a row's ``t``; refuses ``time_format``, ``number_format``, impossible years."""
        text = row.cells["t"]
        if self.t0 is not None:
            return check_instant(self.t0 + row.number("t"), "Row", row.line)
        instant = read_instant(text)
        if instant is None:
            raise Refused(
                "time_format",
                f"Row {row.line}, t: {text[:40]!r} is no RFC 3339 time with an offset"
                " (and there is no '# t0=' line).",
                row=row.line,
                column="t",
            )
        return check_instant(posix_seconds(instant), "Row", row.line)


def read_table(data: bytes, headers: tuple[tuple[str, ...], ...], optional: tuple[str, ...] = ()) -> Table:
    """Reads a log with one of ``headers``, each followed by any of ``optional`` in their order.

    Raises:
        Refused: ``csv_encoding``, ``csv_control_chars``, ``csv_header``, ``csv_columns``, ``csv_too_wide``,
            ``csv_cell_too_long``, ``log_too_long``, ``csv_unreadable``, ``time_format`` or ``log_empty``.
    """
    lines = _lines(_text(data))
    t0: float | None = None
    line, cells = next(lines, (1, [""]))
    if len(cells) == 1 and cells[0].startswith("#"):
        t0 = _start(cells[0], line)
        line, cells = next(lines, (line + 1, [""]))
    header = _header(cells, headers, optional, line)
    rows = _rows(lines, header)
    if not rows:
        raise Refused("log_empty", "The log has a header but no readings.")
    return Table(rows, t0)


def _rows(lines: Iterator[tuple[int, list[str]]], header: tuple[str, ...]) -> list[Row]:
    rows: list[Row] = []
    for number, cells in lines:
        if len(rows) >= MAX_ROWS:
            raise Refused("log_too_long", f"The log has more than {MAX_ROWS} rows.", max_rows=MAX_ROWS)
        rows.append(Row(number, _named(header, cells, number)))
    return rows


def _text(data: bytes) -> str:
    """UTF-8 text, a byte order mark dropped, all line ends made one kind, no control characters."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refused(
            "csv_encoding", f"The log is not UTF-8 text at byte {error.start}.", byte=error.start
        ) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    found = _CONTROL.search(text)
    if found is not None:
        line = text.count("\n", 0, found.start()) + 1
        raise Refused("csv_control_chars", f"Line {line} holds a control character.", row=line)
    return text


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and cells of every line that is not empty."""
    reader = csv.reader(io.StringIO(text), strict=True)
    csv.field_size_limit(MAX_CELL * MAX_COLUMNS)
    try:
        for cells in reader:
            if not cells:
                continue
            _check_size(cells, reader.line_num)
            yield reader.line_num, cells
    except csv.Error as error:
        if "field larger" in str(error):
            raise _cell_too_long(reader.line_num) from None
        raise Refused(
            "csv_unreadable", f"Line {reader.line_num} is no CSV: {error}.", row=reader.line_num
        ) from None


def _check_size(cells: list[str], line: int) -> None:
    if len(cells) > MAX_COLUMNS:
        raise Refused("csv_too_wide", f"Line {line} has more than {MAX_COLUMNS} columns.", row=line)
    if any(len(cell) > MAX_CELL for cell in cells):
        raise _cell_too_long(line)


def _cell_too_long(line: int) -> Refused:
    return Refused(
        "csv_cell_too_long", f"Line {line} has a cell of more than {MAX_CELL} characters.", row=line
    )


def _start(text: str, line: int) -> float:
    matched = _START.fullmatch(text)
    instant = read_instant(matched.group(1)) if matched else None
    if instant is None:
        raise Refused(
            "time_format",
            "The '# t0=' line must give an RFC 3339 time with an offset.",
            row=line,
            column="t0",
        )
    return posix_seconds(instant)


def _header(
    cells: list[str], headers: tuple[tuple[str, ...], ...], optional: tuple[str, ...], line: int
) -> tuple[str, ...]:
    found = tuple(cells)
    for header in headers:
        added = found[len(header) :]
        if found[: len(header)] == header and list(added) == [name for name in optional if name in added]:
            return found
    wanted = " or ".join(",".join(header) for header in headers)
    raise Refused("csv_header", f"The header must be {wanted}, exactly so.", row=line, expected=wanted)


def _named(header: tuple[str, ...], cells: list[str], line: int) -> dict[str, str]:
    if len(cells) != len(header):
        raise Refused(
            "csv_columns", f"Row {line} has {len(cells)} cells, the header has {len(header)}.", row=line
        )
    return dict(zip(header, cells, strict=True))
