"""Packs that were read for some models only: the others of the make are not spoken for."""

from dataclasses import replace

import pytest

from rules.editions import covering_on
from rules.examples import facts_of
from rules.facts import JobFacts
from rules.packs.difference import differences
from rules.packs.errors import PackError
from rules.packs.half_silence import left_out
from rules.packs.linter import lint
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack
from rules.rejudging import can_differ
from rules.requirements import determine
from tests.rules.cast import pack
from tests.rules.packs.guide import RADAR_EXAMPLE

TEXT = RADAR_EXAMPLE.read_text(encoding="utf-8")
COVERS = "covers: {makes: [Thallin], models: [Vesk], model_years: [2026, 2026]}"
EVERY_MODEL = "covers: {makes: [Thallin], model_years: [2026, 2026]}"
FITTED = "        - fitted: front_radar\n"
PRACTICE = pack("common-practice", 3)


def read(text: str) -> PackEdition:
    return read_pack(text.encode())


VESK_ONLY = read(TEXT)


def bumper_off(model: str) -> JobFacts:
    given = {"make": "Thallin", "model": model, "year": 2026, "fitted": {"front_radar": "yes"}}
    listed = {"operations": ("bumper.front.refitted",), "operations_closed": True, "fitted_known": True}
    return facts_of({**given, **listed})


@pytest.mark.parametrize(
    ("make", "year", "model", "covered"),
    [
        ("Thallin", 2026, "Vesk", True),
        ("Thallin", 2026, "Brume", False),
        ("Thallin", 2026, "", False),
        ("Thallin", 2026, "vesk", False),
        ("Thallin", 2025, "Vesk", False),
        ("Orrinvale", 2026, "Vesk", False),
    ],
)
def test_what_is_covered(make: str, year: int, model: str, covered: bool) -> None:
    assert VESK_ONLY.models == ("Vesk",)
    assert VESK_ONLY.covers(make, year, model) is covered


def test_without_models_every_model_of_the_make_is_covered() -> None:
    assert COVERS in TEXT
    every = read(TEXT.replace(COVERS, EVERY_MODEL))
    assert every.models == ()
    assert every.covers("Thallin", 2026, "Brume")


def test_another_model_is_not_told_that_nothing_is_needed() -> None:
    """The maker was read for the Vesk: on a Brume somebody has to look the text up."""
    states = {
        model: {one.procedure_id: one.state for one in determine((PRACTICE, VESK_ONLY), bumper_off(model))}
        for model in ("Vesk", "Brume")
    }
    assert states["Vesk"]["CP-LOOKUP"] == "not_required"
    assert states["Vesk"]["TH-FR"] == "required"
    assert states["Brume"]["CP-LOOKUP"] == "required"
    assert "TH-FR" not in states["Brume"]


def test_models_stand_beside_named_makes_only() -> None:
    with pytest.raises(PackError) as caught:
        read(TEXT.replace(COVERS, "covers: {makes: any, models: [Vesk]}"))
    assert "models_misplaced" in [fault.code for fault in caught.value.faults]


def test_editions_in_force_and_judging_again_go_by_the_model() -> None:
    packs = PackSet(editions=(VESK_ONLY,))
    vesk, brume = (bumper_off(name) for name in ("Vesk", "Brume"))
    day = VESK_ONLY.in_force_from
    assert covering_on(packs, vesk, day) == (VESK_ONLY,)
    assert covering_on(packs, brume, day) == ()
    assert can_differ(vesk, PackSet(editions=()), packs)
    assert not can_differ(brume, PackSet(editions=()), packs)


def test_the_difference_of_editions_tells_the_models() -> None:
    wider = replace(VESK_ONLY, models=())
    told = [one.words for one in differences(VESK_ONLY, wider)]
    assert any("odels covered were Vesk, now any model" in words for words in told)


# ------------------------------------------------------------------ silence about some models


def limited(limit: str, covers: str = EVERY_MODEL) -> PackEdition:
    assert FITTED in TEXT
    return read(TEXT.replace(COVERS, covers).replace(FITTED, f"{FITTED}        - {limit}\n"))


def silence(edition: PackEdition) -> list[str]:
    return [fault.message for fault in lint(edition, (PRACTICE,)) if fault.code == "silence"]


def test_triggers_for_one_model_leave_the_others_of_the_make_without_a_word() -> None:
    (words,) = silence(limited("model: [Vesk]"))
    assert "asks only some models or years after" in words
    assert "bumper.front.refinished" in left_out(limited("model: [Vesk]"))["front_radar"]


@pytest.mark.parametrize(
    ("limit", "covers", "silent"),
    [
        ("model: [Vesk]", COVERS, False),
        ("model: [Vesk, Brume]", COVERS, False),
        ("none: [{model: [Vesk]}]", EVERY_MODEL, True),
        ("year: [2026, 2026]", EVERY_MODEL, False),
        ("year: [2026, 2026]", "covers: {makes: [Thallin], model_years: [2025, 2026]}", True),
        ("any: [{model: [Vesk]}, {none: [{model: [Vesk]}]}]", EVERY_MODEL, False),
        # What is done to the car, and when it was built, is not about which cars were read for.
        ('built: {from: "2026-02-01"}', EVERY_MODEL, False),
        ("touched: front_radar", EVERY_MODEL, False),
        ("none: [{operation: [battery.disconnected]}]", EVERY_MODEL, False),
    ],
)
def test_silence_of_models_and_years(limit: str, covers: str, silent: bool) -> None:
    assert bool(silence(limited(limit, covers))) is silent


def test_one_procedure_for_each_model_is_no_silence() -> None:
    by_model = TEXT.replace(COVERS, EVERY_MODEL).replace(
        "calls_for: TH-FR\n", "calls_for: {by_model: {Vesk: TH-FR}}\n"
    )
    assert silence(read(by_model)) == []
