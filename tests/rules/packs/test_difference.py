"""Two editions of one pack in plain words: complete, told once, with whether they ask for more or less."""

# ruff: noqa: E501 - the sentences of a table are read as one

import dataclasses
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.packs.difference import differences, plain_difference
from rules.packs.model import Condition, NotNeeded, PackEdition, Procedure, Proof, Trigger
from rules.packs.proof_difference import limit_change
from rules.packs.reader import read_pack
from rules.quantities import parse_limit

PACKS: Final = Path(__file__).parents[3] / "fixtures" / "packs"


@cache
def edition(name: str) -> PackEdition:
    return read_pack((PACKS / f"{name}.yaml").read_bytes(), name=name)


def seven() -> PackEdition:
    return edition("orrinvale.7")


def said(old: PackEdition, new: PackEdition) -> list[str]:
    return [item.words for item in differences(old, new)]


STANDING: Final = "standing procedures (OV-FC-STILL, OV-FC-STILL-THEN-ROAD, OV-FR-STILL, OV-RC-STILL)"


def test_the_worked_pair_of_editions() -> None:
    """Each place of the table in which the second edition differs, and nothing else."""
    told = [(item.kind, item.place, item.words) for item in differences(seven(), edition("orrinvale.8"))]
    sentence = (
        "Windshield out, {}inside mirror or camera bracket disturbed, camera unplugged or replaced, roof or"
        " front pillar worked on, front structure pulled, ride height, wheel size or rear toe changed, or its"
        " own code seen: aim the forward camera"
    )
    assert told == [
        ("proof", "OV-FC-STILL,OV-FC-STILL-THEN-ROAD,OV-FR-STILL,OV-RC-STILL/volts",
         f"Supply voltage, {STANDING}: was 12.0 V to 15.0 V, now 12.4 V to 14.8 V (tighter)."),
        ("proof", "OV-FC-STILL/window",
         'Forward camera, standing still: new proof "camera window, photo from outside".'),
        ("trigger", "OV-T-FC",
         'Trigger "aim the forward camera": also when: cowl replaced (was listed as not needed).'),
        ("trigger", "OV-T-FC",
         f'Trigger "aim the forward camera": its sentence was "{sentence.format("")}", now'
         f' "{sentence.format("cowl replaced, ")}".'),
        ("not_needed", "forward_camera/glass.windshield.chip_filled",
         'Not needed: its sentence was "Chip filled outside the camera window, cowl replaced with the camera'
         ' untouched", now "Chip filled outside the camera window".'),
        ("source", "S-FC",
         "Document OV-SI-2114: was edition 2026-02, now 2026-06; retrieved was 2026-02-18, now 2026-06-08."),
        ("edition", "edition", "Edition was 7, now 8."),
        ("edition", "in_force_from", "In force from 2026-06-15, was from 2026-03-01."),
        ("edition", "replaces", "Replaces orrinvale 7, was to replace orrinvale 6."),
        ("example", "Corran, cowl replaced",
         'Example "Corran, cowl replaced": expected not required: OV-FC-STILL and OV-FR-STILL, now required:'
         " OV-FC-STILL; not required: OV-FR-STILL."),
    ]  # fmt: skip


def test_the_way_back_is_told_the_other_way_round() -> None:
    back = plain_difference(edition("orrinvale.8"), seven())
    assert "was 12.4 V to 14.8 V, now 12.0 V to 15.0 V (looser)" in back
    assert 'proof "camera window, photo from outside" is no longer asked for' in back
    assert "no longer when: cowl replaced (now listed as not needed)" in back


def test_the_same_edition_has_no_difference_and_other_packs_are_no_pair() -> None:
    assert differences(seven(), seven()) == ()
    with pytest.raises(ValueError, match="two packs"):
        differences(seven(), edition("common-practice.3"))
    (only,) = differences(seven(), replace(seven(), sha256="0" * 64))
    assert (only.kind, "only comments" in only.words) == ("text", True)


@pytest.mark.parametrize(
    ("old", "new", "change"),
    [
        ("between 12.0 V and 15.0 V", "between 12.4 V and 14.8 V", "tighter"),
        ("between 12.0 V and 15.0 V", "between 11.0 V and 15.0 V", "looser"),
        ("between 12.0 V and 15.0 V", "between 12.4 V and 15.1 V", "shifted"),
        ("between 12.0 V and 15.0 V", "between 16 V and 17 V", "shifted"),
        ("between 12.0 V and 15.0 V", "13.5 V ± 1.5 V", "the same, written otherwise"),
        ("at least 65 km/h", "more than 65 km/h", "tighter"), ("more than 65 km/h", "at least 65 km/h", "looser"),
        ("at most 8 mm", "at most 0.8 cm", "the same, written otherwise"),
        ("at least 10 s", "between 10 s and 20 s", "tighter"), ("at least 10 s", "at most 10 s", "shifted"),
        ("at most 8 mm", "at least 8 mm", "shifted"), ("exactly 5 mm", "5 mm ± 1 mm", "looser"),
        ("placard ± 10 kPa", "placard ± 8 kPa", "tighter"), ("placard ± 10 kPa", "230 kPa ± 5 kPa", "shifted"),
        ("at most 8 mm", "at most 8 deg", "shifted"),
    ],
)  # fmt: skip
def test_limits_by_containment(old: str, new: str, change: str) -> None:
    assert limit_change(parse_limit(old), parse_limit(new)) == change


# ------------------------------------------------------------------ one sentence for each kind of change


def with_proof(
    change: Callable[[Proof], Proof], procedure: str = "OV-FC-ROAD", proof: str = "volts"
) -> PackEdition:
    def of(item: Procedure) -> Procedure:
        if item.id != procedure:
            return item
        return replace(item, proofs=tuple(change(one) if one.id == proof else one for one in item.proofs))

    return replace(seven(), procedures=tuple(of(item) for item in seven().procedures))


def arguments(**values: Any) -> Callable[[Proof], Proof]:
    def change(proof: Proof) -> Proof:
        kept = {key: value for key, value in proof.arguments.items() if key not in values}
        return replace(proof, arguments=kept | {key: one for key, one in values.items() if one is not None})

    return change


def with_procedure(**values: Any) -> PackEdition:
    return replace(
        seven(),
        procedures=tuple(
            replace(item, **values) if item.id == "OV-FC-ROAD" else item for item in seven().procedures
        ),
    )


def with_trigger(**values: Any) -> PackEdition:
    return replace(
        seven(),
        triggers=tuple(
            replace(item, **values) if item.id == "OV-T-FR" else item for item in seven().triggers
        ),
    )


ROAD: Final = "Forward camera, on the road"
RADAR: Final = 'Trigger "aim the front radar"'


def front_radar(*names: str) -> Condition:
    return Condition(
        kind="all",
        parts=(Condition(kind="fitted", names=("front_radar",)), Condition(kind="operation", names=names)),
    )


def trigger() -> Trigger:
    return next(item for item in seven().triggers if item.id == "OV-T-FR")


def operations() -> tuple[str, ...]:
    return trigger().when.parts[1].names


CASES: Final[tuple[tuple[Callable[[], PackEdition], str], ...]] = (
    (lambda: with_proof(arguments(longest_gap=5.0)), f"Supply voltage, {ROAD}: longest gap was 10 s, now 5 s (tighter)."),
    (lambda: with_proof(arguments(ignore_shorter_than=None)),
     f"Supply voltage, {ROAD}: ignore shorter than was 2 s, now not stated (tighter)."),
    (lambda: with_proof(arguments(crank_windows=2)), f"Supply voltage, {ROAD}: crank windows was 1, now 2 (looser)."),
    (lambda: with_proof(lambda one: replace(one, waivable=True, waive_role="quality_manager")),
     f"Supply voltage, {ROAD}: may now be waived by the quality manager (looser)."),
    (lambda: with_proof(lambda one: replace(one, fresh_for_s=3600.0), proof="tyres"),
     f"Tire pressures, {ROAD}: stays fresh for 1 h, was 4 h (tighter)."),
    (lambda: with_proof(lambda one: replace(one, broken_by=("wheel_removed", "suspension_work")), proof="tyres"),
     f"Tire pressures, {ROAD}: now also spoiled by suspension work (tighter)."),
    (lambda: with_proof(lambda one: replace(one, broken_by=()), proof="tyres"),
     f"Tire pressures, {ROAD}: no longer spoiled by wheel removed (looser)."),
    (lambda: with_proof(lambda one: replace(one, earlier_visit=True)),
     f"Supply voltage, {ROAD}: a value of an earlier visit now serves (looser)."),
    (lambda: with_proof(arguments(allow=("C1A45-54", "C1A46")), proof="codes0"),
     f"No codes (codes0), {ROAD}: allow now also C1A46 (looser)."),
    (lambda: with_proof(arguments(says=("dry_road",)), proof="road"),
     f"Statement (road), {ROAD}: says no longer lane lines both sides, no heavy spray and two people or voice"
     " only (looser)."),
    (lambda: with_proof(arguments(time_is="indicative"), proof="drive"),
     f"Drive, {ROAD}: time is was mandatory, now indicative (another)."),
    (lambda: with_proof(arguments(sun_above=10.0), proof="drive"),
     f"Drive, {ROAD}: sun above was 5 deg, now 10 deg (tighter)."),
    (lambda: with_procedure(refusable=True), f"{ROAD}: the owner may now refuse it (looser)."),
    (lambda: with_procedure(order=("session_start", "session_end")),
     f"{ROAD}: order was before scan → adhesive ready → session start → drive start → drive end → session end"
     " → final scan, now session start → session end."),
    (lambda: with_procedure(kind="static"), f"{ROAD}: kind was dynamic, now static."),
    (lambda: with_trigger(calls_for="OV-SV-STILL"), f"{RADAR}: called for OV-FR-STILL, now for OV-SV-STILL."),
    (lambda: with_trigger(before=("OV-SV-STILL",)),
     f"{RADAR}: had to come before nothing, now before OV-SV-STILL."),
    (lambda: with_trigger(when=front_radar(*operations(), "hood.replaced")), f"{RADAR}: also when: hood replaced."),
    (lambda: with_trigger(when=front_radar(*operations()[1:])), f"{RADAR}: no longer when: front bumper refitted."),
    (lambda: with_trigger(when=Condition(kind="any", parts=trigger().when.parts)), f"{RADAR}: condition was ("),
    (lambda: replace(seven(), triggers=tuple(one for one in seven().triggers if one.id != "OV-T-FR")),
     f"{RADAR} (OV-T-FR) is no longer there."),
    (lambda: replace(seven(), z=2.0), "Decision factor z was 1.645, now 2 (stricter)."),
    (lambda: replace(seven(), speaks_for=(*seven().speaks_for, "lidar")), "The pack speaks for: now also lidar."),
    (lambda: replace(seven(), model_years=(2020, 2030)), "Model years covered were 2024 to 2027, now 2020 to 2030."),
    (lambda: replace(seven(), makes=(*seven().makes, "Kestmoor")), "Makes covered were Orrinvale, now Orrinvale, Kestmoor."),
    (lambda: replace(seven(), keep_plan_edition=True), "Requirements now stay with the edition of the fixed plan."),
    (lambda: replace(seven(), zones={"hood.replaced": ("front_radar",)}),
     "Surroundings: hood replaced was not stated, now front radar."),
    (lambda: replace(seven(), builds_on=(("common-practice", 4),)),
     "Builds on common-practice 4 or later, was on common-practice 3."),
)  # fmt: skip


@pytest.mark.parametrize(("changed", "words"), CASES, ids=[words[:60] for _, words in CASES])
def test_each_kind_of_change_in_words(changed: Callable[[], PackEdition], words: str) -> None:
    (told,) = said(seven(), changed())
    assert told.startswith(words) if words.endswith("(") else told == words


def test_what_moves_between_needed_and_not_needed() -> None:
    entry = seven().not_needed[0]
    both = ("forward_camera", "rain_light_sensor")
    old = replace(seven(), not_needed=(replace(entry, sensors=both), *seven().not_needed[1:]))
    eight = edition("orrinvale.8")
    told = said(
        old, replace(eight, not_needed=(replace(eight.not_needed[0], sensors=both), *eight.not_needed[1:]))
    )
    # What is asked for one sensor only is not silent on the other.
    assert "Cowl replaced, rain and light sensor: no longer listed as not needed." in told
    assert 'Trigger "aim the forward camera": also when: cowl replaced (was listed as not needed).' in told
    more = NotNeeded(sensors=("lidar",), operations=("hood.replaced",), plain="x", cite=entry.cite)
    assert said(seven(), replace(seven(), not_needed=(*seven().not_needed, more))) == [
        "Hood replaced, lidar: now listed as not needed."
    ]


def test_a_group_that_one_procedure_changes_is_told_for_each() -> None:
    """The change of a group is told once; a procedure with its own limit is told by itself."""
    text = (PACKS / "orrinvale.7.yaml").read_text(encoding="utf-8")
    old = 'limit: "between 12.0 V and 15.0 V", ignore_shorter_than: "2 s", longest_gap: "10 s", waivable: no, cite'
    assert text.count(old) == 1
    text = text.replace(old, old.replace("12.0", "12.4"))
    text = text.replace(
        "change: {codes0: {allow: [C1B02-54]}}",
        'change: {codes0: {allow: [C1B02-54]}, volts: {limit: "between 12.1 V and 15.0 V"}}',
    )
    told = said(seven(), read_pack(text.encode()))
    assert told == [
        "Supply voltage, standing procedures (OV-FC-STILL, OV-FC-STILL-THEN-ROAD, OV-RC-STILL): was 12.0 V to"
        " 15.0 V, now 12.4 V to 15.0 V (tighter).",
        "Supply voltage, Front radar, standing still: was 12.0 V to 15.0 V, now 12.1 V to 15.0 V (tighter).",
    ]


# ------------------------------------------------------------------ nothing that matters is left out

# Where it stands in the file, its bytes' hash, and the name of the group asks for nothing.
NO_MATTER: Final = frozenset(
    {"line", "lines", "order_line", "sha256", "group", "groups", "uses", "drops", "pack"}
)
# Told with the list of sources, which hold the same entries.
SHARED: Final = frozenset({"source"})
# An id that changes is one thing gone and another come; that is tested by leaving things out.
UNMOVED: Final = NO_MATTER | SHARED | {"id"}
# Pairs keep their length.
_FIXED: Final = re.compile(
    r"\.(model_years|years|built|replaces|builds_on\[\d+\]|by_model\[\d+\]|arguments\.\w+\[\d+\]"
    r"|counted\[\d+\]|solved\.\w+)$"
)
Mutation = tuple[str, Callable[[PackEdition], PackEdition]]


def mutations(value: Any, put: Callable[[PackEdition, Any], PackEdition], path: str) -> Iterator[Mutation]:
    """Every single change of ``value`` and of what is inside it, with how to put it into the edition."""
    shown = _others(value) if not _FIXED.search(path) else ()
    for label, other in shown:
        yield f"{path}: {label}", lambda whole, other=other: put(whole, other)
    for name, item, rebuilt in _inside(value):
        yield from mutations(item, lambda whole, new, of=rebuilt: put(whole, of(new)), path + name)


def _inside(value: Any) -> Iterator[tuple[str, Any, Callable[[Any], Any]]]:
    """Name, content, and how to make ``value`` anew with another content there."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in dataclasses.fields(value) if field.name not in UNMOVED]
        for name in names:
            yield f".{name}", getattr(value, name), lambda new, name=name: replace(value, **{name: new})
    elif isinstance(value, tuple):
        for at, item in enumerate(value):
            yield f"[{at}]", item, lambda new, at=at: (*value[:at], new, *value[at + 1 :])
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield f".{key}", item, lambda new, key=key: {**value, key: new}


def _others(value: Any) -> Iterator[tuple[str, Any]]:
    if isinstance(value, bool):
        yield "turned", not value
    elif isinstance(value, int | float):
        yield "more", value + 1
    elif isinstance(value, str):
        yield "other text", value + "x"
    elif isinstance(value, date):
        yield "next day", value + timedelta(days=1)
    elif isinstance(value, tuple) and value:
        yield "first left out", value[1:]
        yield "last left out", value[:-1]
    elif isinstance(value, Mapping) and value:
        yield "first left out", dict(list(value.items())[1:])


@cache
def all_mutations(name: str) -> tuple[Mutation, ...]:
    return tuple(mutations(edition(name), lambda _whole, new: new, name))


NAMES: Final = ("orrinvale.8", "common-practice.3")


@pytest.mark.parametrize("name", NAMES)
def test_no_single_change_is_left_out(name: str) -> None:
    found = all_mutations(name)
    assert len(found) > 250
    old = edition(name)
    silent = [
        path
        for path, change in found
        if (new := change(old)) != old and not [item for item in differences(old, new) if item.kind != "text"]
    ]
    assert silent == []


@settings(max_examples=150, deadline=None)
@given(data=st.data(), name=st.sampled_from(NAMES))
def test_no_pair_of_changes_hides_one(data: st.DataObject, name: str) -> None:
    """Two changes in different places give at least what each gives alone would: never nothing."""
    old = edition(name)
    tops = [field.name for field in dataclasses.fields(PackEdition) if field.name not in NO_MATTER]
    first, second = data.draw(st.lists(st.sampled_from(tops), min_size=2, max_size=2, unique=True))
    new = old
    for top in (first, second):
        own = [one for one in all_mutations(name) if one[0].startswith(f"{name}.{top}")]
        if own:
            changed = data.draw(st.sampled_from(own))[1](old)
            new = replace(new, **{top: getattr(changed, top)})
    if new != old:
        assert [item for item in differences(old, new) if item.kind != "text"]


def test_every_field_of_the_language_is_looked_at() -> None:
    """A new field of the language shows up here, and is told in some words even before it has its own."""
    known = {field.name for field in dataclasses.fields(PackEdition)}
    assert {"triggers", "procedures", "zones", "z", "examples"} <= known
    for name in NO_MATTER & known - {"pack"}:
        assert name in {"lines", "sha256", "groups"}
