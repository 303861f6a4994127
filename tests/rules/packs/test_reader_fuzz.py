"""Texts nobody would write: whatever comes in is read or refused with its faults, and nothing crashes."""

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.edition import PACK_KEYS
from rules.packs.errors import Fault, PackError
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack
from tests.rules.packs.texts import BASE, changed


def read_or_faults(data: bytes) -> PackEdition | tuple[Fault, ...]:
    try:
        return read_pack(data)
    except PackError as error:
        return error.faults


def test_a_trigger_without_an_id_that_calls_for_nobody() -> None:
    """Found by trying: the fault about the procedure has to find its trigger without an id."""
    text = changed("  - id: KM-T-FR\n    plain:", "  - plain:").replace("Dray: KM-FR", "Dray: KM-RF")
    found = read_or_faults(text.encode())
    assert not isinstance(found, PackEdition)
    assert {"missing_key", "unknown_procedure"} <= {fault.code for fault in found}


WORDS = st.sampled_from(
    ["pack", "edition", "triggers", "procedures", "groups", "examples", "when", "all", "any", "none", "use",
     "any_of", "check", "value", "limit", "given", "expect", "solved", "counted", "id", "yes", "no", "on",
     "true", "2026-01-01", "0x10", "1e9", ".inf", "~", "null", "<<", "=", "at most 3 mm", "target_pose",
     "change", "drop", "by_model", "calls_for", "fitted", "front_radar", "covers", "makes", "low", "high"]
)  # fmt: skip
TREES = st.recursive(
    WORDS | st.integers(-(10**20), 10**20).map(str) | st.text(max_size=8).map(repr),
    lambda inner: (
        st.lists(inner, max_size=4).map(lambda items: "[" + ", ".join(items) + "]")
        | st.lists(st.tuples(WORDS, inner), max_size=4).map(
            lambda pairs: "{" + ", ".join(f"{key}: {value}" for key, value in pairs) + "}"
        )
    ),
    max_leaves=10,
)


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(sorted({*PACK_KEYS, "other"})), TREES, max_size=8))
def test_any_tree_is_read_or_refused(parts: dict[str, str]) -> None:
    text = "".join(f"{key}: {value}\n" for key, value in parts.items())
    found = read_or_faults(text.encode())
    assert not isinstance(found, PackEdition)
    assert all(fault.expected and fault.found and fault.line >= 1 for fault in found)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(BASE.splitlines()), TREES)
def test_any_value_in_place_of_a_known_one_is_read_or_refused(line: str, value: str) -> None:
    key, colon, _ = line.partition(": ")
    text = BASE.replace(line, f"{key}{colon}{value}", 1)
    found = read_or_faults(text.encode())
    if not isinstance(found, PackEdition):
        assert found


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_refused_or_read(data: bytes) -> None:
    found = read_or_faults(data)
    assert not isinstance(found, PackEdition)
    assert found
