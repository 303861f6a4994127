"""Canonical JSON against the published vectors of RFC 8785 and a second library; there and back."""

import json
import math
import struct
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any, Literal

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from rules.canonical import (
    MAX_DEPTH,
    CanonicalError,
    PlainError,
    canonical_bytes,
    from_plain,
    number_text,
    sha256_hex,
    to_plain,
)
from rules.facts import JobFacts, Moment, OffsetFrom, Photo, Place, Reading, Vehicle

REFERENCE = Path(__file__).parent.parent / "reference"
# RFC 8785 section 3.2 and appendix B; files of the author's public test data.
VECTORS = json.loads((REFERENCE / "jcs_rfc8785_vectors.json").read_text(encoding="utf-8"))
DIGESTS = json.loads((REFERENCE / "digests.json").read_text(encoding="utf-8"))
AT = datetime(2026, 5, 5, 13, 40, tzinfo=UTC)


@pytest.mark.parametrize("case", VECTORS["cases"], ids=lambda case: case["name"])
def test_documents_of_rfc_8785(case: dict[str, str]) -> None:
    made = canonical_bytes(json.loads(case["input_text"]))
    assert made.hex() == case["canonical_utf8_hex"]
    assert sha256_hex(made) == case["canonical_sha256"]


@pytest.mark.parametrize(("pattern", "text"), VECTORS["numbers_ieee754_hex_to_text"])
def test_numbers_of_rfc_8785_appendix_b(pattern: str, text: str) -> None:
    (value,) = struct.unpack(">d", bytes.fromhex(pattern))
    assert number_text(value) == text


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 2**53, -(2**53), "\ud800", {"\ud800": 1}])
def test_what_has_no_canonical_form_is_refused(value: object) -> None:
    with pytest.raises(CanonicalError):
        canonical_bytes(value)


@pytest.mark.parametrize("value", [{1: 2}, {"a": {2}}, b"bytes", AT, object()])
def test_other_types_are_refused(value: object) -> None:
    with pytest.raises(CanonicalError):
        canonical_bytes(value)


def test_largest_whole_number_is_written() -> None:
    assert canonical_bytes([2**53 - 1, -(2**53 - 1)]) == b"[9007199254740991,-9007199254740991]"


def test_nesting_has_a_bound() -> None:
    def nested(depth: int) -> Any:
        value: Any = 1
        for _ in range(depth):
            value = [value]
        return value

    assert canonical_bytes(nested(MAX_DEPTH))
    with pytest.raises(CanonicalError):
        canonical_bytes(nested(MAX_DEPTH + 1))


plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(plain)
def test_agrees_with_a_second_library(value: Any) -> None:
    """PyPI rfc8785 0.1.4 is the second opinion."""
    assert canonical_bytes(value) == rfc8785.dumps(value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_double_survives_the_text(value: float) -> None:
    assert float(number_text(value)) == value


def test_example_messages_of_fips_180_4() -> None:
    for case in DIGESTS["sha256"]:
        if "message_utf8" in case:
            assert sha256_hex(case["message_utf8"].encode()) == case["hex"]
    assert sha256_hex(b"a" * 1_000_000) == DIGESTS["sha256"][-1]["hex"]


def facts() -> JobFacts:
    offset = OffsetFrom(at=datetime(2026, 3, 8, 8, tzinfo=UTC), minutes=-300)
    place = Place(
        code="EM", name="Eastmarch", tz="America/Chicago", lat=43.1, lon=-98.2, photo_radius_m=300.0,
        offsets=(offset,),
    )  # fmt: skip
    moment = Moment(low=AT - timedelta(seconds=1), high=AT, reading=AT, clock="device:t1", resolution_s=60.0)
    reading = Reading(
        id="r1", sha256="ab" * 32, received_at=AT, quantity="odometer", place="dash", value=21007.0,
        unit="km",        typed_value="21007", typed_unit="km", at=moment, by="itolvaar", resolution=1.0,
    )  # fmt: skip
    photo = Photo(
        id="p1", sha256="cd" * 32, received_at=AT, number=4, kind="photo", stage="intake",
        media_type="image/jpeg", size_bytes=10, by="itolvaar", captured=moment, captured_how="exif",
        width=4000, height=3000, laplacian_variance=120.5, clipped_share=None,
    )  # fmt: skip
    vehicle = Vehicle(
        vin="Z0ASD1F89S2011835", make="Orrinvale", model="Sedge", model_year=2025, market="US",
        build_date=date(2025, 2, 3),
    )  # fmt: skip
    return JobFacts(
        job_id="j1", order_number="RO-1", organisation="o1", refusal_allowed=True, place=place, opened=moment,
        vehicle=vehicle, readings=(reading,), photos=(photo,),
    )  # fmt: skip


def test_facts_come_back_equal_through_the_bytes() -> None:
    given_facts = facts()
    text = canonical_bytes(to_plain(given_facts))
    again = from_plain(JobFacts, json.loads(text))
    assert again == given_facts
    assert isinstance(again.readings[0].value, float)
    assert canonical_bytes(to_plain(again)) == text


def test_instants_are_written_in_utc() -> None:
    local = AT.astimezone(timezone(timedelta(hours=-5)))
    assert to_plain(local) == "2026-05-05T13:40:00Z"
    assert to_plain(AT + timedelta(microseconds=500)) == "2026-05-05T13:40:00.000500Z"
    assert to_plain(date(2026, 5, 5)) == "2026-05-05"
    with pytest.raises(CanonicalError):
        to_plain(datetime(2026, 5, 5))  # noqa: DTZ001


@dataclass(frozen=True)
class Sample:
    number: int
    side: Literal["left", "right"]
    parts: tuple[tuple[str, float], ...] = ()
    day: date | None = None


GOOD: dict[str, Any] = {"number": 1, "side": "left", "parts": [["a", 1]], "day": "2026-05-05"}


def test_plain_data_is_rebuilt_by_its_types() -> None:
    assert from_plain(Sample, GOOD) == Sample(1, "left", (("a", 1.0),), date(2026, 5, 5))
    assert from_plain(Sample, {"number": 1, "side": "right"}) == Sample(1, "right")


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"number": True}, "number"),
        ({"number": 1.0}, "number"),
        ({"side": "both"}, "side"),
        ({"parts": [["a"]]}, "parts[0]"),
        ({"parts": [["a", "b"]]}, "parts[0][1]"),
        ({"parts": "ab"}, "parts"),
        ({"day": "yesterday"}, "day"),
        ({"extra": 1}, ""),
    ],
)
def test_plain_data_of_another_shape_is_refused(change: dict[str, Any], path: str) -> None:
    with pytest.raises(PlainError) as caught:
        from_plain(Sample, {**GOOD, **change})
    assert caught.value.path == path


def test_a_missing_field_is_refused() -> None:
    with pytest.raises(PlainError):
        from_plain(Sample, {"number": 1})


def test_sets_have_no_plain_form() -> None:
    with pytest.raises(CanonicalError):
        to_plain({"a", "b"})
