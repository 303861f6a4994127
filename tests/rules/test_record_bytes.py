"""The bytes of records in one walk are those of the general way, and so are its refusals."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.canonical import CanonicalError, canonical_bytes, to_plain
from rules.record_bytes import record_bytes
from tests.rules.packs_on_file import packs_on_file
from tests.rules.weakening import judged
from tests.rules.windshield_job import windshield_job


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    zeta: Any
    alpha: Any
    middle_: Any


FIRST, LAST = datetime(1000, 1, 2), datetime(9000, 1, 1)  # noqa: DTZ001 - the zone is drawn
NAIVE = datetime(2026, 1, 1)  # noqa: DTZ001 - what must be refused
zone = st.timezones() | st.just(UTC) | st.just(timezone(timedelta(hours=-5, minutes=-30)))
value = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
    | st.dates(date(1000, 1, 1))
    | st.datetimes(FIRST, LAST, timezones=zone),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.lists(inner, max_size=4).map(tuple)
        | st.dictionaries(st.text(), inner, max_size=3)
        | st.builds(lambda a, b, c: Sample(zeta=a, alpha=b, middle_=c), inner, inner, inner)
    ),
    max_leaves=25,
)


@given(value)
def test_the_same_bytes(some: Any) -> None:
    assert record_bytes(some) == canonical_bytes(to_plain(some))


def test_the_same_bytes_of_a_whole_job_its_judgement_and_its_packs() -> None:
    job = windshield_job()
    for some in (job, judged(job), packs_on_file().editions):
        assert record_bytes(some) == canonical_bytes(to_plain(some))


@pytest.mark.parametrize(
    "bad",
    [math.nan, -math.inf, 2**53, "\ud800", b"x", {1: 2}, {1, 2}, NAIVE, object(), Sample],
    ids=lambda bad: type(bad).__name__,
)
def test_what_has_no_canonical_form_is_refused_wherever_it_stands(bad: Any) -> None:
    for some in (bad, (1, bad), (bad, bad), Sample(zeta=bad, alpha=1, middle_=2)):
        with pytest.raises(CanonicalError):
            record_bytes(some)


def test_nesting_has_a_bound() -> None:
    deep: Any = 1.0
    for _ in range(500):
        deep = (deep, "x")
    with pytest.raises(CanonicalError):
        record_bytes(deep)
