"""VIN arithmetic against the worked sample of 49 CFR 565.15, and what it cannot see."""

import json
from pathlib import Path
from typing import Any

import pytest
from vininfo import Vin

from rules.science.vin import LETTER_VALUES, WEIGHTS, check_vin, normalise, refused_by_rule

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "reference" / "vin_vectors.json").read_text()
)
# The invented world's cars.
DEMO = (
    "Z0ACR4H24T1004217", "Z0ASD1F89S2011835", "Z0AMK7N31T3000962", "Z0AHB2K50T1009934",
    "Z0KDR5B69R0045510", "Z0KLN2C96S4120077", "Z0TVK3E13T0007741",
)  # fmt: skip


def test_tables_are_those_of_the_regulation() -> None:
    # 49 CFR 565.15(c) tables III and IV.
    letters = {mark: value for mark, value in VECTORS["transliteration"].items() if mark.isalpha()}
    assert letters == LETTER_VALUES
    assert list(WEIGHTS) == VECTORS["weights"]


@pytest.mark.parametrize("case", VECTORS["vins"], ids=lambda case: str(case["vin"]))
def test_products_sum_and_digit(case: dict[str, Any]) -> None:
    check = check_vin(case["vin"])
    assert list(check.products) == case["products"]
    assert (check.total, check.remainder) == (case["sum"], case["remainder"])
    assert check.calculated == case["check_character"]
    assert (check.state == "valid") is case["check_ok"]


def test_worked_sample_of_the_regulation_product_by_product() -> None:
    # 49 CFR 565.15 table VI.
    check = check_vin("1G4AH59H45G118341")
    assert check.products == (8, 49, 24, 5, 32, 15, 18, 80, 0, 45, 56, 7, 6, 40, 12, 12, 2)
    assert (check.total, check.remainder, check.state) == (411, 4, "valid")


def test_worked_example_of_the_invented_car() -> None:
    check = check_vin("Z0ACR4H24T1004217")
    assert check.products == (72, 0, 6, 15, 36, 12, 16, 20, 0, 27, 8, 0, 0, 20, 8, 3, 14)
    assert (check.total, check.state) == (257, "valid")
    exchanged = check_vin("Z0ACR4H24T1004271")
    assert (exchanged.calculated, exchanged.printed, exchanged.state) == ("X", "4", "mismatch")
    assert check_vin("Z0ACR4H2XT1004271").state == "valid"


@pytest.mark.parametrize(
    "vin", ["1G4AH59H45G118331", "1G4AH59H55G118341", "1M8GDM9A1KP042788", "SGZCZ43D13S812715"]
)
def test_must_fail(vin: str) -> None:
    assert check_vin(vin).state == "mismatch"


@pytest.mark.parametrize("vin", DEMO)
def test_the_invented_cars_are_valid_and_an_outside_library_agrees(vin: str) -> None:
    assert check_vin(vin).state == "valid"
    assert Vin(vin).verify_checksum()


@pytest.mark.parametrize("case", VECTORS["vins"], ids=lambda case: str(case["vin"]))
def test_an_outside_library_agrees(case: dict[str, Any]) -> None:
    assert Vin(case["vin"]).verify_checksum() is (check_vin(case["vin"]).state == "valid")


@pytest.mark.parametrize(
    ("vin", "wrong"),
    [
        ("1G4AH59HI5G118341", ((9, "I"),)),
        ("1G4AH59HO5G118341", ((9, "O"),)),
        ("1Q4AH59H45G118341", ((2, "Q"),)),
        ("IO4AH59H45G11834Q", ((1, "I"), (2, "O"), (17, "Q"))),
        ("1G4AH59H45G11834", ()),
        ("1G4AH59H45G1183411", ()),
        ("", ()),
        ("1G4AH59H45G11834\u0661", ((17, "\u0661"),)),
        ("1G4AH59H45G11834\u0430", ((17, "\u0430"),)),
    ],
)
def test_malformed_names_every_wrong_position(vin: str, wrong: tuple[tuple[int, str], ...]) -> None:
    check = check_vin(vin)
    assert check.state == "malformed"
    assert check.wrong_positions == wrong


@pytest.mark.parametrize("entry", VECTORS["undetectable_substitutions"], ids=lambda entry: str(entry["vin"]))
def test_characters_of_equal_value_are_not_told_apart(entry: dict[str, Any]) -> None:
    assert check_vin(entry["vin"]).state == "valid"


def test_39_of_512_single_changes_pass() -> None:
    vin = "1G4AH59H45G118341"
    marks = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
    changed = [vin[:i] + mark + vin[i + 1 :] for i in range(17) if i != 8 for mark in marks if mark != vin[i]]
    assert len(changed) == 512
    assert sum(check_vin(other).state == "valid" for other in changed) == 39


def test_rule_of_the_market() -> None:
    # Position 9 is a filler outside North America: ISO 3779 practice.
    european = check_vin("WP0ZZZ99ZTS392124")
    assert european.state == "mismatch"
    assert refused_by_rule(european, "required")
    assert not refused_by_rule(european, "advisory")
    assert refused_by_rule(check_vin("WP0ZZZ99ZTS39212"), "advisory")
    assert not refused_by_rule(check_vin(DEMO[0]), "required")


def test_normalising_keeps_look_alikes_of_other_scripts() -> None:
    assert normalise(" z0acr 4h24t\t1004217\n") == DEMO[0]
    assert normalise("\u017f") == "\u017f"  # a long s is no S
