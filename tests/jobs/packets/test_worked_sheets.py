"""Computation sheets: from what is printed alone, an independent calculation comes to what is printed.

Nothing of the engine is used here: the sums are done by Python's own arithmetic, the target by a solver of
this file on numpy, dates and angles anew. Check value of the sun: (43.1, -98.2) at 18:05 UTC-5 on
2026-10-20, elevation 5.6 degrees, stated there as computed from published formulas.
"""

import math
import re
from datetime import date
from typing import Any

import numpy as np
import pytest
from pytest_django.plugin import DjangoDbBlocker

from jobs.packets.pages.sheets import sheets_view
from jobs.packets.pages.worked.calculator import worth
from jobs.packets.pages.worked.library import COMPUTATIONS
from jobs.packets.pages.worked.lines import fig, made, term
from jobs.packets.pages.worked.logs import sun_angles
from rules.packs.check_library import CHECKS
from tests.jobs.packets.packet_case import Store, context_of, finished, open_record
from tests.jobs.packets.played_sources import context_of_played, frozen_jobs

Sheet = dict[str, Any]
SCENARIOS = (
    "baseline_static_camera",
    "floor_too_steep",
    "supply_voltage_in_three_jobs",
    "warm_tires",
)


@pytest.fixture(scope="module")
def played(django_db_blocker: DjangoDbBlocker) -> list[tuple[str, Sheet]]:
    """Every sheet of every job of the scenarios, with the scenario's name."""
    found = []
    with django_db_blocker.unblock():
        for name in SCENARIOS:
            for source in frozen_jobs(name).values():
                found += [(name, sheet) for sheet in sheets_view(context_of_played(source))]
    return found


# ------------------------------------------------------------------ an arithmetic of this file's own


def by_hand(text: str) -> float:
    """What a person's calculator gives: Python's own arithmetic on the printed line, angles in degrees."""
    plain = text.replace("−", "-").replace("×", "*").replace("²", "**2").replace("√", "math.sqrt")
    plain = re.sub(r"\|([^|]+)\|", r"abs(\1)", plain).replace("°", "*math.pi/180")
    plain = re.sub(r"\batan\(", "57.29577951308232*math.atan(", plain)
    plain = re.sub(r"(?<!a)\btan\(", "math.tan(", plain)
    return float(eval(plain, {"__builtins__": {}}, {"math": math, "abs": abs, "max": max, "min": min}))  # noqa: S307


def number(text: str) -> float:
    return float(re.sub(r"[^\d.\-]", "", text.replace("−", "-").split(" ")[0]))


def last_digit(text: str) -> float:
    """The weight of the last digit of a printed number."""
    _, _, decimals = text.partition(".")
    return 10.0 ** -len(decimals)


# ------------------------------------------------------------------ every line of every sheet


def assert_sums_agree(sheet: Sheet) -> int:
    for line in sheet["sums"]:
        if line.result == "no value":
            continue
        assert line.agrees, (sheet["title"], line)
        off = abs(by_hand(line.numbers) - number(line.result))
        assert off <= 1.01 * last_digit(line.result), (sheet["title"], line)
    return len(sheet["sums"])


def test_every_line_of_a_finished_and_of_an_open_record(store: Store) -> None:
    sheets = [*sheets_view(context_of(finished(store))), *sheets_view(context_of(open_record(store)))]
    assert sum(assert_sums_agree(sheet) for sheet in sheets) > 30


@pytest.mark.slow
def test_every_line_of_played_jobs(played: list[tuple[str, Sheet]]) -> None:
    checked = sum(assert_sums_agree(sheet) for _, sheet in played)
    assert checked > 300
    assert {sheet["check"] for _, sheet in played} >= {
        "target_pose", "thrust_angle", "ride_heights", "floor_survey", "tyre_pressures", "voltage_log",
        "equipment_valid", "in_order", "codes_compare",
    }  # fmt: skip


def test_a_line_that_does_not_come_out_says_so() -> None:
    assert made("x", "a + b", "1 + 2", 3.0, 3).agrees
    assert not made("x", "a + b", "1 + 2", 3.01, 2 + 1).agrees
    assert not made("x", "a + b", "1 + two", 3.0, 3).agrees


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("(0.05 − 0.20) / 2", -0.075),
        ("√(1.443376² + 1.443376²)", 2.041242),
        ("|239 − 241|", 2.0),
        ("3.654777 − (−4.154703)", 7.80948),
        ("tan(45°)", 1.0),
        ("atan(√(3² + 4²) / 5)", 45.0),
        ("max(341, 233, 145, 0)", 341.0),
    ],
)
def test_the_calculator(text: str, value: float) -> None:
    assert worth(text) == pytest.approx(value, abs=1e-6)
    assert by_hand(text) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("text", ["__import__('os')", "1 +", "x", "(1).real", "2 if 1 else 3", "[1]"])
def test_the_calculator_does_nothing_but_sums(text: str) -> None:
    with pytest.raises(ValueError, match="sum"):
        worth(text)


def test_minus_is_a_minus_sign_and_no_hyphen() -> None:
    assert fig(-0.075) == "−0.075"
    assert term(-4.15, 2) == "(−4.15)"
    assert fig(-0.0001, 2) == "0.00"
    assert fig(0.00000123) == "0.00000123"


def test_every_check_with_a_limit_or_a_computation_has_its_sheet() -> None:
    """Checks that only look whether a record is there have none."""
    record_checks = {
        "citation_given", "document", "fit_known", "function_check", "ignition_unbroken", "lamp_states",
        "operations_closed", "people_qualified", "photo_set", "scan_present", "signed", "statement",
        "step_list_signed", "target_identity", "tool_result",
    }  # fmt: skip
    assert set(CHECKS) == set(COMPUTATIONS) | record_checks


# ------------------------------------------------------------------ whole computations, from what is printed


def inputs_by_name(sheet: Sheet) -> dict[str, float]:
    return {row.name.lower(): number(row.taken) for row in sheet["inputs"]}


def decided(sheet: Sheet) -> dict[str, dict[str, Any]]:
    return {str(row["name"]): row for row in sheet["decided"]}


def solve_target(tapes: dict[str, float], marks: float, bar: float, start: float) -> tuple[Any, Any]:
    """Gauss-Newton with a numerical derivative: (x, y, turn in rad) and the normal matrix for u = 1."""

    def lengths(at: Any) -> Any:
        x, y, turn = at
        found = []
        for name in tapes:
            side = marks / 2 if name[0] == "L" else -marks / 2
            half = bar / 2 if name[1] == "L" else -bar / 2
            found.append(math.hypot(x - half * math.sin(turn), y + half * math.cos(turn) - side))
        return np.array(found)

    at = np.array([start, 0.0, 0.0])
    read = np.array(list(tapes.values()))
    steps = np.array([1e-3, 1e-3, 1e-7])
    for _ in range(40):
        slope = np.array(
            [
                (lengths(at + d) - lengths(at - d)) / (2 * s)
                for d, s in zip(np.diag(steps), steps, strict=True)
            ]
        ).T
        at = at + np.linalg.solve(slope.T @ slope, slope.T @ (read - lengths(at)))
    return at, slope.T @ slope


@pytest.mark.slow
def test_the_target_from_its_printed_tapes(played: list[tuple[str, Sheet]]) -> None:
    """Solved anew from the four printed distances, bar, marks, wheelbase and toe."""
    sheet = next(s for name, s in played if name == "baseline_static_camera" and s["check"] == "target_pose")
    given = inputs_by_name(sheet)
    tapes = {m[1]: value for key, value in given.items() if (m := re.search(r"\(d (\w\w)\)", key))}
    tapes = {key.upper(): value for key, value in tapes.items()}
    assert len(tapes) == 4
    solved = {row[0].split(",")[0]: number(row[1]) for row in sheet["tables"][0].rows}
    at, normal = solve_target(tapes, given["front marks apart"], given["bar length"], 3200.0)
    tau = (given["rear toe right"] - given["rear toe left"]) / 2
    sideways = at[1] - (at[0] + solved["W"]) * math.tan(math.radians(tau))
    printed = decided(sheet)
    assert number(str(printed["Distance"]["value"])) == pytest.approx(at[0], abs=0.011)
    assert number(str(printed["Sideways"]["value"])) == pytest.approx(sideways, abs=0.011)
    assert number(str(printed["Yaw"]["value"])) == pytest.approx(math.degrees(at[2]) - tau, abs=0.0011)
    # The independent part of u from the normal matrix of this solver, u of a tape 0.85 mm as printed.
    own = np.sqrt(np.diag(np.linalg.inv(normal))) * 0.85
    lines = {line.what: number(line.result) for line in sheet["sums"]}
    assert lines["u of x, independent part"] == pytest.approx(own[0], abs=2e-4)
    assert lines["u of y, independent part"] == pytest.approx(own[1], abs=2e-4)
    assert lines["u of turn, independent part"] == pytest.approx(math.degrees(own[2]), abs=2e-4)


@pytest.mark.slow
def test_the_floor_from_its_printed_points(played: list[tuple[str, Sheet]]) -> None:
    """Numpy's least squares on the printed points gives the printed slope and flatness."""
    for _, sheet in played:
        if sheet["check"] != "floor_survey" or not sheet["tables"]:
            continue
        points = np.array([[number(cell) for cell in row[:3]] for row in sheet["tables"][0].rows])
        design = np.column_stack([np.ones(len(points)), points[:, 0], points[:, 1]])
        plane, *_ = np.linalg.lstsq(design, points[:, 2], rcond=None)
        left = points[:, 2] - design @ plane
        printed = decided(sheet)
        slope = math.degrees(math.atan(math.hypot(plane[1], plane[2]) / 1000))
        assert number(str(printed["Slope"]["value"])) == pytest.approx(slope, abs=0.0006)
        assert number(str(printed["Flatness"]["value"])) == pytest.approx(left.max() - left.min(), abs=0.006)


@pytest.mark.slow
def test_every_verdict_follows_from_the_printed_zone(played: list[tuple[str, Sheet]]) -> None:
    """JCGM 106 with the printed value, u and limits: the printed word."""
    seen = set()
    for _, sheet in played:
        for row in sheet["decided"]:
            value, guard = number(str(row["value"])), 1.645 * (number(str(row["u"])) if row["u"] else 0.0)
            low = number(str(row["low"])) if row["low"] else -math.inf
            high = number(str(row["high"])) if row["high"] else math.inf
            clear = min(abs(value - edge) for edge in (low - guard, low + guard, high - guard, high + guard))
            if clear < 0.003 * max(1.0, guard):
                continue  # so near to an edge that printed digits cannot decide
            word = "met" if low + guard <= value <= high - guard else "not shown"
            if value < low - guard or value > high + guard:
                word = "not met"
            assert row["word"] == word, (sheet["title"], row)
            seen.add(word)
    assert seen == {"met", "not met", "not shown"}


@pytest.mark.slow
def test_warm_tires_from_their_printed_temperatures(played: list[tuple[str, Sheet]]) -> None:
    """Constant volume, absolute scales: 258 kPa at 38 degC, ambient 18 degC gives 234.9 kPa."""
    worked_example = (258 + 101.3) * 291.15 / 311.15 - 101.3
    assert worked_example == pytest.approx(234.9, abs=0.05)
    found = 0
    for name, sheet in played:
        if name != "warm_tires" or sheet["check"] != "tyre_pressures":
            continue
        given, printed = inputs_by_name(sheet), decided(sheet)
        for place in ("front left", "front right", "rear left", "rear right"):
            tire = given.get(f"tire temperature, {place}")
            if tire is None or place.capitalize() not in printed:
                continue
            ambient = given["air temperature, ambient"]
            cold = (given[f"tire pressure, {place}"] + 101.3) * (ambient + 273.15) / (tire + 273.15) - 101.3
            assert number(str(printed[place.capitalize()]["value"])) == pytest.approx(cold, abs=0.06)
            found += 1
    assert found >= 4


def test_the_drive_from_its_printed_runs(store: Store) -> None:
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "drive_log")
    runs = [number(row[2]) for row in sheet["tables"][0].rows]
    lines = {line.what: line.result for line in sheet["sums"]}
    assert number(lines["counted"]) == sum(runs) == 719
    assert number(lines["longest run"]) == max(runs) == 341
    assert "719 s ≥ 600 s needed" in sheet["words"][0]
    lengths = [clock(row[1]) - clock(row[0]) for row in sheet["tables"][0].rows]
    assert lengths == runs


def clock(text: str) -> int:
    hours, minutes, seconds = (int(part) for part in text.split(":"))
    return hours * 3600 + minutes * 60 + seconds


def test_the_adhesive_from_its_printed_readings(store: Store) -> None:
    """Lowest readings less 1.645 u, minutes of the sheet, ready = set + minutes."""
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "adhesive_ready")
    falls, last = sheet["tables"]
    minutes = int(falls.rows[-1][5])
    set_at, told, ready, _ = last.rows[0]
    assert told == f"{minutes} min"
    assert clock(ready) - clock(set_at) == minutes * 60
    for row in falls.rows:
        assert number(row[2]) == pytest.approx(number(row[1]) - 1.645 * 0.25, abs=6e-5)
        assert number(row[4]) == pytest.approx(number(row[3]) - 1.645 * 1.5, abs=6e-5)


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day(text: str) -> date:
    number_, month, year = text.split()
    return date(int(year), MONTHS.index(month) + 1, int(number_))


def later(start: date, months: int) -> date:
    whole = start.month - 1 + months
    year, month = start.year + whole // 12, whole % 12 + 1
    last = (date(year + month // 12, month % 12 + 1, 1) - date(year, month, 1)).days
    return date(year, month, min(start.day, last))


def test_certificates_from_their_printed_dates(store: Store) -> None:
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "equipment_valid")
    rows = [row for row in sheet["tables"][0].rows if row[4].endswith("months")]
    assert rows
    for _, used, _, calibrated, interval, due, word in rows:
        assert day(due) == later(day(calibrated), int(interval.split()[0]))
        assert word == ("yes" if day(used) <= day(due) else "no, overdue")


def test_order_from_its_printed_brackets(store: Store) -> None:
    """Least of (second - first) is the second's earliest less the first's latest, on clocks of their own."""
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "in_order")
    events, pairs = sheet["tables"]
    bounds = {row[0]: row for row in events.rows}
    checked = 0
    for first, second, least, most, word in pairs.rows:
        low = clock_s(bounds[second][2]) - clock_s(bounds[first][3])
        high = clock_s(bounds[second][3]) - clock_s(bounds[first][2])
        # Readings of one clock are tighter than their brackets, never wider.
        assert number(least) >= low - 0.002
        assert number(most) <= high + 0.002
        assert word == ("shown" if number(least) >= 0 else "not shown")
        checked += 1
    assert checked >= 4


def clock_s(text: str) -> float:
    hours, minutes, seconds = text.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds)


def test_the_check_digit_from_its_printed_products(store: Store) -> None:
    """49 CFR 565.15(c): value x weight, remainder by 11; worked example Z0ACR4H24T1004217 gives 257 and 4."""
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "identity_agrees")
    places = sheet["tables"][-1].rows
    letters, values, weights, products = (row[1:] for row in places)
    assert [int(v) * int(w) for v, w in zip(values, weights, strict=True)] == [int(p) for p in products]
    total = sum(int(p) for p in products)
    lines = {line.what: number(line.result) for line in sheet["sums"]}
    assert lines["sum"] == total
    assert lines["remainder"] == total % 11
    assert letters[8] == ("X" if total % 11 == 10 else str(total % 11))


def test_the_suns_height_from_its_printed_angles() -> None:
    at = 1792537500.0  # 2026-10-20 18:05 at UTC-5
    declination, hour = sun_angles(at, -98.2)
    lat = math.radians(43.1)
    d, h = math.radians(declination), math.radians(hour)
    height = math.degrees(math.asin(math.sin(lat) * math.sin(d) + math.cos(lat) * math.cos(d) * math.cos(h)))
    assert height == pytest.approx(5.6, abs=0.1)


def test_the_odometer_from_its_printed_numbers(store: Store) -> None:
    """Two intervals: the way by the display, the length of the track; met where they overlap."""
    sheet = next(s for s in sheets_view(context_of(finished(store))) if s["check"] == "odometer_agrees")
    lines = {line.what: number(line.result) for line in sheet["sums"]}
    assert lines["odometer, at least"] < lines["track, at most"]
    assert lines["track, at least"] < lines["odometer, at most"]
    assert sheet["word"] == "met"
    assert lines["track, at most"] / lines["track, at least"] == pytest.approx(1.03 / 0.97, abs=1e-4)


@pytest.mark.slow
def test_voltage_stretches_from_their_printed_crossings(played: list[tuple[str, Sheet]]) -> None:
    """The worked example of the supply log: below 12 - g for 4.485 s, between 401.730 and 406.215 s."""
    lengths = set()
    for name, sheet in played:
        if name == "supply_voltage_in_three_jobs" and sheet["check"] == "voltage_log":
            rows = sheet["tables"][0].rows
            lengths |= {row[3] for row in rows if row[0].startswith("below L − g")}
            for row in rows:
                if row[1] != "never" and row[2]:
                    assert number(row[3]) == pytest.approx(number(row[2]) - number(row[1]), abs=0.0015)
    assert "4.485 s" in lengths
