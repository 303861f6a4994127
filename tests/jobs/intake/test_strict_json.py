"""Strict JSON: every refusal by its code, and agreement with the standard library on everything else."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.errors import Refused
from jobs.intake.strict_json import MAX_INTEGER, parse_strict


def code_of(data: bytes, max_bytes: int = 3_000_000) -> str:
    with pytest.raises(Refused) as refusal:
        parse_strict(data, max_bytes=max_bytes)
    return refusal.value.code


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "parse_error"),
        (b"{", "parse_error"),
        (b'{"a":1,}', "parse_error"),
        (b"{'a':1}", "parse_error"),
        (b'{"a":1} x', "parse_error"),
        (b'"\x01"', "parse_error"),
        (b'\xef\xbb\xbf{"a":1}', "parse_error"),
        (b'{"a":"\xff"}', "parse_error"),
        (b'{"a":1}'.decode().encode("utf-16"), "parse_error"),
        (b"[01]", "parse_error"),
        (b"[" * 100_000, "too_deep"),
        (b"[" * 100_000 + b"]" * 100_000, "too_deep"),
        (b'{"a":' * 100_000, "too_deep"),
        (b'{"a":1,"a":1}', "duplicate_key"),
        (b'{"x":[{"a":1,"b":2,"\\u0061":3}]}', "duplicate_key"),
        (b'{"a":NaN}', "number_not_finite"),
        (b"[Infinity]", "number_not_finite"),
        (b"[-Infinity]", "number_not_finite"),
        (b"[1e400]", "number_not_finite"),
        (b"[-1E999]", "number_not_finite"),
        (b"[" + b"9" * 10_000 + b"]", "number_too_big"),
        (b"[9007199254740992]", "number_too_big"),
        (b"[-9007199254740992]", "number_too_big"),
        (b'["\\ud800"]', "lone_surrogate"),
        (b'{"\\udc00":1}', "lone_surrogate"),
        (b'["\\ud83d\\u0041"]', "lone_surrogate"),
        (b'["\\u0000"]', "nul_character"),
        (b'{"a\\u0000b":1}', "nul_character"),
    ],
)
def test_refusals(data: bytes, code: str) -> None:
    assert code_of(data) == code


@pytest.mark.parametrize(
    ("depth", "accepted"),
    [(31, True), (32, True), (33, False)],
)
def test_depth_limit(depth: int, accepted: bool) -> None:
    data = b"[" * depth + b"]" * depth
    if accepted:
        parse_strict(data, max_bytes=1000)
    else:
        assert code_of(data) == "too_deep"


def test_brackets_inside_strings_are_no_depth() -> None:
    text = "[" * 500 + '\\"{' * 40
    assert parse_strict(json.dumps({"a": text}).encode(), max_bytes=10_000) == {"a": text}


def test_many_quotes_do_not_take_quadratic_time() -> None:
    assert code_of(b'"' + b'\\"' * 1_000_000) == "parse_error"
    assert code_of(b'"' * 1_000_001) == "parse_error"


@pytest.mark.parametrize(("size", "accepted"), [(9, False), (10, True), (11, True)])
def test_size_limit(size: int, accepted: bool) -> None:
    data = b'{"a":1234}'
    if accepted:
        assert parse_strict(data, max_bytes=size) == {"a": 1234}
    else:
        assert code_of(data, max_bytes=size) == "too_large"


@pytest.mark.parametrize("value", [MAX_INTEGER, -MAX_INTEGER, 0, -0.0, 1.5e300, 5e-324])
def test_numbers_at_the_limits_are_kept(value: float) -> None:
    assert parse_strict(json.dumps([value]).encode(), max_bytes=1000) == [value]


def test_refusal_says_where() -> None:
    with pytest.raises(Refused) as refusal:
        parse_strict(b'{"a":1,\n "b":}', max_bytes=100)
    assert (refusal.value.extra["line"], refusal.value.extra["column"]) == (2, 6)


_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-MAX_INTEGER, MAX_INTEGER)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), inner, max_size=4
        )
    ),
    max_leaves=20,
)


@given(_VALUES)
def test_agrees_with_the_standard_library(value: object) -> None:
    """Outside check: json.loads of CPython, on documents that have one meaning only."""
    for data in (json.dumps(value).encode(), json.dumps(value, ensure_ascii=False).encode()):
        assert parse_strict(data, max_bytes=100_000) == json.loads(data)
