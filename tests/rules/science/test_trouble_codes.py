"""Trouble codes: SAE J2012 codec over all values, spellings, and classes across scans."""

import json
from pathlib import Path
from typing import Any

import pytest

from rules.science.trouble_codes import (
    Seen,
    classify,
    code_bytes,
    code_text,
    merge_duplicates,
    normalise,
    three_byte_text,
)

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "reference" / "dtc_vectors.json").read_text()
)


def test_all_two_byte_values_go_there_and_back() -> None:
    texts = {code_text(value) for value in range(0x10000)}
    assert len(texts) == 0x10000
    assert all(code_bytes(code_text(value)) == value for value in range(0x10000))


@pytest.mark.parametrize("case", VECTORS["codes"], ids=lambda case: str(case["text"]))
def test_examples_of_the_standard(case: dict[str, Any]) -> None:
    value = int(case["hex"], 16)
    assert value == case["byte_a"] << 8 | case["byte_b"]
    assert code_text(value) == case["text"]
    assert code_bytes(case["text"]) == value


@pytest.mark.parametrize(
    ("value", "text"),
    [(0x403123, "C0031-23"), (0x803910, "B0039-10"), (0x012700, "P0127-00"), (0xFFFFFF, "U3FFF-FF")],
)
def test_third_byte_is_the_failure_type(value: int, text: str) -> None:
    # SAE J2012-DA, format 04 of ISO 14229-1.
    assert three_byte_text(value) == text


@pytest.mark.parametrize("value", [-1, 0x10000])
def test_more_than_two_bytes_is_refused(value: int) -> None:
    with pytest.raises(ValueError, match="two bytes"):
        code_text(value)


@pytest.mark.parametrize("value", [-1, 0x1000000])
def test_more_than_three_bytes_is_refused(value: int) -> None:
    with pytest.raises(ValueError, match="three bytes"):
        three_byte_text(value)


@pytest.mark.parametrize("text", ["C1A4554", "C1A45:54", "c1a45-54", "C1A45 54", " c1A45.54 "])
def test_spellings_are_one_code(text: str) -> None:
    assert normalise(text) == ("C1A45", "54")


def test_failure_type_in_its_own_field() -> None:
    assert normalise("c1a45", "7f") == ("C1A45", "7F")
    assert normalise("C1A45", None) == ("C1A45", None)
    assert normalise("C1A45", " ") == ("C1A45", None)
    assert normalise("C1A45-54", "54") == ("C1A45", "54")


@pytest.mark.parametrize(
    ("text", "ftb"),
    [("C4A45", None), ("X1A45", None), ("C1A4", None), ("C1A455", None), ("C1G45", None), ("", None),
     ("C1A45-54", "55"), ("C1A45", "5"), ("C1A45", "5G"), ("C1A4\u0665", None)],
)  # fmt: skip
def test_no_codes_are_refused(text: str, ftb: str | None) -> None:
    with pytest.raises(ValueError, match=r"trouble code|failure type"):
        normalise(text, ftb)


def test_worked_example_across_four_scans() -> None:
    camera, body, radar = ("Camera", "C1A45", "54"), ("Body", "B2210", "11"), ("Radar", "C1B02", "78")
    classes = classify(
        {camera: Seen(state="present"), body: Seen(state="stored", count=2)},
        [camera],
        {body: Seen(state="stored", count=2), radar: Seen(state="present")},
    )
    assert classes == {camera: "resolved", body: "history_only", radar: "new"}


KEY = ("M", "P0100", None)


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        (None, Seen(state="stored"), "new"),
        (Seen(state="stored"), Seen(state="present"), "remaining"),
        (Seen(state="stored"), Seen(state="intermittent"), "remaining"),
        (Seen(state="present"), Seen(state="stored"), "history_only"),
        (Seen(state="present", count=3), Seen(state="stored", count=3), "history_only"),
        (Seen(state="present", count=3), Seen(state="stored", count=4), "remaining"),
        (Seen(state="present", count=3), Seen(state="stored"), "history_only"),
        (Seen(state="present"), Seen(state="stored", count=9), "history_only"),
        (Seen(state="present", count=3), Seen(state="stored", count=1), "history_only"),
        (Seen(state="present"), None, "resolved"),
    ],
)
def test_class_by_state_and_count(before: Seen | None, after: Seen | None, found: str) -> None:
    classes = classify({KEY: before} if before else {}, [], {KEY: after} if after else {})
    assert classes == {KEY: found}


def test_set_while_working_and_other_failure_type() -> None:
    other = ("M", "P0100", "11")
    classes = classify({KEY: Seen(state="present")}, [other], {})
    assert classes == {KEY: "resolved", other: "set_while_working"}
    assert classify({KEY: Seen(state="present")}, [], {other: Seen(state="present")}) == {
        KEY: "resolved",
        other: "new",
    }


def test_a_code_listed_twice_never_hides_a_rise() -> None:
    entries = [
        (KEY, Seen(state="stored", count=2)),
        (KEY, Seen(state="present", count=5)),
        (KEY, Seen(state="stored")),
    ]
    assert merge_duplicates(entries, highest_count=False) == {KEY: Seen(state="present", count=2)}
    assert merge_duplicates(entries, highest_count=True) == {KEY: Seen(state="present", count=5)}
