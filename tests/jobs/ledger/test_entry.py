"""The canonical form of an entry: the quick way gives the very bytes of the plain one, or is not taken."""

import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.ledger import entry as entry_module
from jobs.ledger.entry import Entry, detail_text
from rules.canonical import canonical_bytes

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | TEXTS
    | st.floats(-(2.0**53) + 1, 2.0**53 - 1),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


def entry(detail: str, **changes: Any) -> Entry:
    fields: dict[str, Any] = {
        "organisation": "8f14e45f-ceea-467a-9af0-5a6b4f0e7a11", "n": 12, "at": "2026-05-12T14:02:11.000000Z",
        "who": "itolvaar", "device": "", "what": "job.opened", "target": "EM-2026-0417", "detail": detail,
    }  # fmt: skip
    return Entry(**(fields | changes))


@given(st.dictionaries(TEXTS, VALUES, max_size=4), TEXTS, TEXTS, TEXTS)
@settings(max_examples=400, deadline=None)
def test_the_quick_way_and_the_plain_one_agree(
    detail: dict[str, Any], who: str, target: str, device: str
) -> None:
    one = entry(detail_text(detail), who=who, target=target, device=device)
    assert one.canonical() == canonical_bytes(one.content())
    # The reference library of RFC 8785.
    assert one.canonical() == rfc8785.dumps(one.content())


@pytest.mark.parametrize(
    ("detail", "quick"),
    [
        ('{"a":1,"b":"x"}', True),
        ("{}", True),
        ('{"a":[1,null,true,"\\n"]}', True),
        ('{"a":999999999999999}', True),
        ('{"a":9007199254740991}', False),
        ('{"a":1.5}', False),
        ('{"a":1e-7}', False),
        ('{"a":"ü"}', False),
        ('{ "a":1}', False),
        ('{"b":1,"a":1}', False),
        ('{"a":1,"a":2}', False),
        ('{"a":-0}', False),
        ('{"a":"\\u0041"}', False),
        ('{"a":"\\/"}', False),
        ('{"a":1e-07}', False),
    ],
)
def test_a_detail_is_taken_as_it_stands_only_where_it_is_canonical(detail: str, quick: bool) -> None:
    assert entry_module._is_canonical(detail) is quick
    one = entry(detail)
    assert one.canonical() == canonical_bytes(one.content())
    if quick:
        assert rfc8785.dumps(json.loads(detail)).decode() == detail


@pytest.mark.parametrize(
    "detail", ["", "not JSON", "{", '{"a":NaN}', '{"a":9007199254740992}', '{"a":"\\ud800"}']
)
def test_what_has_no_canonical_form_has_none(detail: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - which of them is the parser's own
        entry(detail).canonical()
    with pytest.raises(ValueError):  # noqa: PT011
        entry("{}", who="\ud800").canonical()
