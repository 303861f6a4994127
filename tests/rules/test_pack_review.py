"""Warnings of a pack by name: each trigger both ways and unknown, each limit on both sides, capability."""

import pytest

from rules.pack_review import errors_of, review
from rules.packs.errors import Fault
from rules.packs.methods_text import read_methods
from rules.packs.reader import read_pack
from tests.rules.cast import pack
from tests.rules.packs.guide import EXAMPLE, FOLDER

TEXT = EXAMPLE.read_text(encoding="utf-8")
METHODS = read_methods((FOLDER / "methods" / "brackwater.yaml").read_bytes())
BESIDE = (pack("common-practice", 3),)


def told(text: str, *, with_methods: bool = False) -> dict[str, Fault]:
    found = review(read_pack(text.encode()), BESIDE, METHODS if with_methods else None)
    assert list(found) == sorted(found)
    warnings = [fault for fault in found if fault.severity == "warning"]
    assert all(fault.name and fault.expected and fault.found for fault in warnings)
    assert len({fault.name for fault in warnings}) == len(warnings)
    return {fault.name or fault.code: fault for fault in found}


def without(name: str) -> str:
    """The guide's pack without the example that begins with these words."""
    head, rest = TEXT.split(f'  - name: "{name}', 1)
    _, *others = rest.split("\n  - name:", 1)
    return head.rstrip("\n") + "\n" + ("  - name:" + others[0] if others else "")


def test_the_guide_s_pack_has_none() -> None:
    assert told(TEXT, with_methods=True) == {}


@pytest.mark.parametrize(
    ("example", "names"),
    [
        ("Linnet, tailgate off", ["trigger:KM-T-RC/true"]),
        ("Linnet, rear window", ["trigger:KM-T-RC/false"]),
        ("Dray, tailgate off", ["trigger:KM-T-RC/unknown"]),
        ("Supply voltage", ["limit:parked/volts/limit"]),
        ("Too dark", ["limit:parked/light/limit"]),
        (
            "Spot of the Dray",
            [f"limit:KM-RC-TALL/spot/{argument}" for argument in ("across", "along", "height")],
        ),
    ],
)
def test_an_example_left_out_is_missed_by_name(example: str, names: list[str]) -> None:
    assert sorted(told(without(example))) == names


@pytest.mark.parametrize(
    ("value", "missed"),
    [
        ("12.1 V", None),
        ("12.17 V", None),  # not met below 12.2 - 0.024675 V
        ("12.18 V", "no example whose value breaks it"),  # too close to tell is no side
    ],
)
def test_a_side_of_a_limit(value: str, missed: str | None) -> None:
    text = TEXT.replace('"12.1 V"', f'"{value}"')
    found = told(text.replace("[met, not_met, not_shown]", "[met, not_shown, not_shown]") if missed else text)
    warning = found.get("limit:parked/volts/limit")
    assert (warning is None) is (missed is None)
    if warning is not None and missed is not None:
        assert missed in warning.message
        assert "fulfils" not in warning.message


def test_what_cannot_happen_is_not_asked_for() -> None:
    """A trigger for every job is never false and never unknown; years and models are never unknown."""
    common = {fault.name for fault in review(pack("common-practice", 3))}
    assert not any(name.startswith("trigger:CP-T-EVERY") for name in common)
    assert "trigger:CP-T-BOND/true" in common
    operations = next(line for line in TEXT.splitlines(keepends=True) if "- operation:" in line)
    plain = TEXT.replace(operations, "")
    only_years = plain.replace("        - fitted: rear_camera\n", "        - year: [2024, 2026]\n")
    names = set(told(only_years))
    assert not any(name.startswith("trigger:KM-T-RC/") for name in names)


def test_a_failing_example_is_an_error_with_its_line() -> None:
    text = TEXT.replace("expect: {required: [KM-RC]}", "expect: {not_required: [KM-RC]}")
    found = told(text)["example_failed"]
    assert (found.severity, found.line) == ("error", text[: text.index('"Linnet, tailgate')].count("\n") + 1)
    assert errors_of(tuple(told(text).values())) == (found,)


def test_an_example_that_cannot_run_is_an_error() -> None:
    text = TEXT.replace('{value: "500 lx", u_value: "20 lx"}', '{value: "500 mm", u_value: "20 lx"}')
    assert told(text)["example_not_run"].severity == "error"


def test_capability_is_a_warning_where_a_place_can_never_show_it() -> None:
    text = TEXT.replace('across: "0 mm ± 15 mm"', 'across: "0 mm ± 1.7 mm"')
    found = told(text, with_methods=True)
    assert {name for name in found if name.startswith("capability")} == {
        "capability:parked/spot/across",
        "capability:KM-RC-TALL/spot/across",
    }
    words = "twice its guard, 3.5 mm, is more than the 3.4 mm allowed"
    assert words in found["capability:parked/spot/across"].message
    wide = TEXT.replace('across: "0 mm ± 15 mm"', 'across: "0 mm ± 1.75 mm"')
    assert not any(name.startswith("capability") for name in told(wide, with_methods=True))


@pytest.mark.parametrize("edition", [7, 8])
def test_packs_on_file_have_no_error(edition: int) -> None:
    assert errors_of(review(pack("orrinvale", edition), BESIDE, METHODS)) == ()
