"""What a scenario file may say: every fault with its line, what was expected and what was found."""

from pathlib import Path

import pytest

from jobs.rehearsal.faults import Fault, ScenarioError
from jobs.rehearsal.scenario import read_scenario
from tests.jobs.rehearsal.conftest import SMALL


def faults_of(path: Path, text: str) -> tuple[Fault, ...]:
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError) as caught:
        read_scenario(path)
    return caught.value.faults


def test_the_small_scenario_is_read(small: Path) -> None:
    scenario = read_scenario(small)
    assert list(scenario.jobs) == ["car"]
    assert [act.path for act in scenario.jobs["car"].acts] == [
        "fitted.looked_at",
        "operations.door",
        "closings.first",
        "readings.tyres",
    ]
    assert [part.name for part in scenario.parts] == ["end"]


CASES = [
    # what is replaced, by what, line, code, then what "expected" and "found" contain
    ("day: ", "dai: ", 2, "unknown_key", 'did you mean "day"?', "dai"),
    ('day: "2026-05-05"', "day: 2026-05-05", 2, "date_unquoted", "in quotes", "2026-05-05"),
    ('day: "2026-05-05"', 'day: "2026-02-30"', 2, "wrong_value", "a day in quotes", "2026-02-30"),
    ("order: {at: 07:40", "order: {at: soon", 7, "wrong_value", "a time such as", "soon"),
    ("order: {at: 07:40", 'order: {at: "25:40"', 7, "wrong_value", "a time such as", "25:40"),
    ("odometer: 21007 km", "odometer: 21007", 7, "wrong_value", "a mileage such as", "21007"),
    ("vin: Z0ASD1F89S2011835, ", "", 6, "missing_key", "a key vin", "none"),
    ("yes: [forward_camera]", "yes: [forward_camra]", 9, "unknown_word", "forward_camera", "camra"),
    ("quantity: tyre_pressure", "quantity: tire_pressure", 15, "unknown_word", '"tyre_pressure"?', "tire_"),
    ("values: {front_left: 231}", "values: {front_left: high}", 15, "wrong_value", "a number", "high"),
    ("values: {front_left: 231}", "values: [231]", 15, "wrong_value", "a mapping of names", "a list"),
    ("operation: door.left_front.refinished", "operation: paint", 11, "wrong_value", "operation name", "pai"),
    ("    closings:", "    closing:", 12, "unknown_key", '"closings"?', "closing"),
    ("      first: {at: 09:50}", "      first: {}", 13, "missing_key", "a key at", "none"),
    ("      first: {at: 09:50}", "      first: 09:50", 13, "wrong_value", "a mapping of keys", "09:50"),
    ("disposition: hold", "disposition: held", 21, "unknown_word", '"hold"?', "held"),
    ("reasons: [fit_unknown]", "reasons: [fit_unkown]", 24, "unknown_word", '"fit_unknown"?', "fit_unkown"),
    ("CP-EVERY/plan:", "CP-EVERY:", 23, "bad_name", "a proof such as", "CP-EVERY"),
    ("      car:\n        disp", "      cart:\n        disp", 20, "unknown_job", '"car"?', "cart"),
    ("    number: EM", "    drop: [photos]\n    number: EM", 5, "nothing_to_drop", "nothing to", "photos"),
    ("  car:\n    number", "  car:\n    like: van\n    number", 5, "like", "one of", "van"),
    ("parts:\n", "parts:\n  end: {at: 11:00}\n", 18, "duplicate_key", "", "end"),
    ("scenario:", "extends: nowhere.yaml\nscenario:", 1, "extends_missing", "a file beside", "nowhere.yaml"),
    ("scenario:", "extends: small.yaml\nscenario:", 1, "extends_circle", "none of them twice", "small.yaml"),
    ("jobs:", "jobs: &all", 3, "anchor_or_alias", "", "all"),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[3]}-{case[2]}-{case[5]}")
def test_a_fault_says_where_and_what(small: Path, case: tuple[str, str, int, str, str, str]) -> None:
    old, new, line, code, expected, found = case
    assert SMALL.count(old) == 1
    faults = faults_of(small, SMALL.replace(old, new))
    matching = [fault for fault in faults if fault.code == code]
    assert matching, [fault.told() for fault in faults]
    fault = matching[0]
    assert fault.spot.line == line
    assert fault.spot.file == str(small)
    assert expected in fault.expected
    assert found in fault.found


def test_a_record_that_is_named_must_be_in_the_file(small: Path) -> None:
    text = SMALL.replace(
        "closings:",
        "identity:\n      plate: {at: 07:46, way: vin_plate_photo, photos: [plate]}\n    closings:",
    )
    (fault,) = faults_of(small, text)
    assert (fault.spot.line, fault.code, fault.found) == (13, "unknown_name", "plate")
    assert fault.where == "jobs.car.identity.plate.photos"


def test_all_faults_are_told_at_once(small: Path) -> None:
    text = SMALL.replace("07:40", "soon").replace("09:40", "later").replace("kPa", "bars")
    assert [fault.spot.line for fault in faults_of(small, text)] == [7, 11, 15]


@pytest.mark.parametrize("data", [b"", b"- a\n- b\n", b"\xff\xfe", b"a: b: c", b"x" * 300_000, b"jobs: {"])
def test_what_is_no_mapping_is_a_fault(small: Path, data: bytes) -> None:
    small.write_bytes(data)
    with pytest.raises(ScenarioError):
        read_scenario(small)


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError) as caught:
        read_scenario(tmp_path)
    assert caught.value.faults[0].code == "unreadable"
