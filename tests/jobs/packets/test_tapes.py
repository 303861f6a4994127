"""The tape distances of a target as a table; numbers of the worked set of four (residuals -0.128, 0.140)."""

import pytest

from jobs.packets.pages.procedures import numbers_view
from jobs.packets.pages.tapes import tape_rows
from rules.display import number_name
from rules.verdict import Number
from tests.rules.judged_target import outcome
from tests.rules.target_set import set_up


def test_each_distance_has_its_reading_and_its_residual() -> None:
    rows = tape_rows(outcome(set_up()).numbers)
    assert [(row["code"], row["value"], row["residual"]) for row in rows] == [
        ("d_LL", "3213.00 mm", "−0.13 mm"),
        ("d_LR", "3495.00 mm", "0.14 mm"),
        ("d_RL", "3494.00 mm", "0.14 mm"),
        ("d_RR", "3210.00 mm", "−0.13 mm"),
    ]
    assert [row["u"] for row in rows] == ["0.85"] * 4
    assert [row["sets"] for row in rows] == [1] * 4
    assert rows[1]["name"] == "Left mark to right end of the bar"


def test_what_stands_in_the_table_is_not_told_again_in_the_line_below() -> None:
    view = numbers_view(outcome(set_up()).numbers)
    told = " ".join(item["name"] for item in view["others"])
    assert len(view["tapes"]) == 4
    assert "mark to" not in told
    assert "Thrust angle" in told


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("read_d_LR", "Read, left mark to right end of the bar"),
        ("residual_b_RL", "Residual, right mark of the other axle to left end of the bar"),
        ("count_d_RR", "Sets averaged, right mark to right end of the bar"),
    ],
)
def test_names_on_screen_are_no_codes(name: str, words: str) -> None:
    assert number_name(Number(name=name, value=1.0, unit="mm")) == words


def test_other_numbers_make_no_row() -> None:
    assert tape_rows([Number(name="read_odometer", value=1.0, unit="km")]) == []
