"""identity_agrees: agreement of readings, module VINs, used parts, photos, check digit by market."""

from dataclasses import replace
from typing import Any

import pytest

from rules.checks.identity import identity_agrees
from rules.facts import Explanation, IdentityReading, JobFacts, Scan
from tests.rules.builders import SEDGE, at, ended, held, module, moment
from tests.rules.measured import context, said
from tests.rules.windshield_job import MODULES, windshield_job

VIN = SEDGE.vin
OTHER = "Z0TVK3E13T0007741"
CONFLICT = ("not_met", ("identity_conflict",))
UNPROVEN = ("not_shown", ("identity_unproven",))


def judged(facts: JobFacts, gate: str = "11:50") -> tuple[str, tuple[str, ...]]:
    return said(identity_agrees(context("CP-EVERY", "who", facts, gate)))


def job(**fields: Any) -> JobFacts:
    return replace(windshield_job(), **fields)


def reading(way: str, vin: str, **fields: Any) -> IdentityReading:
    return IdentityReading(
        **{**held(f"vin-{way}", "08:01"), "way": way, "vin_read": vin, "at": moment("08:01"), **fields}
    )


def scans(**changes: Any) -> tuple[Scan, ...]:
    """The job's scans, with fields of the final one changed."""
    before, aiming, final = windshield_job().scans
    return before, aiming, replace(final, **changes)


def test_all_agree() -> None:
    assert judged(windshield_job()) == ("met", ())
    spaced = (*windshield_job().identity_readings, reading("scan", " z0asd 1f89s2011835 "))
    assert judged(job(identity_readings=spaced)) == ("met", ())


@pytest.mark.parametrize("way", ["typed", "vin_plate_photo", "vin_label_photo", "scan"])
def test_any_two_that_differ_conflict_whether_asked_for_or_not(way: str) -> None:
    readings = (*windshield_job().identity_readings, reading(way, OTHER))
    assert judged(job(identity_readings=readings)) == CONFLICT
    aside = (*windshield_job().identity_readings, ended(reading(way, OTHER), "09:00"))
    assert judged(job(identity_readings=aside)) == ("met", ())


def test_equal_check_digits_do_not_make_equal_cars() -> None:
    twin = "Z0JSD1F89S2011835"  # A and J have the same value
    assert (
        judged(job(identity_readings=(*windshield_job().identity_readings, reading("scan", twin))))
        == CONFLICT
    )


# ------------------------------------------------------------------ what is asked for


def test_each_reading_asked_for_must_exist() -> None:
    facts = windshield_job()
    assert judged(job(identity_readings=facts.identity_readings[:1])) == UNPROVEN
    assert judged(job(scans=facts.scans[:2])) == UNPROVEN
    silent = tuple(replace(scan, vin_per_module=()) for scan in facts.scans)
    assert judged(job(scans=silent)) == UNPROVEN
    blank = tuple(replace(scan, vin_per_module=(("Camera", "  "),)) for scan in facts.scans)
    assert judged(job(scans=blank)) == UNPROVEN


def test_the_scan_before_aiming_stands_in() -> None:
    facts = job(scans=windshield_job().scans[1:])
    outcome = identity_agrees(context("CP-EVERY", "who", facts))
    assert said(outcome) == ("met", ())
    assert any("stands in" in note for note in outcome.notes)
    assert judged(job(scans=windshield_job().scans[2:])) == UNPROVEN


def test_a_plate_reading_counts_only_with_its_photo() -> None:
    facts = windshield_job()
    without = tuple(item for item in facts.photos if item.id != "photo-vin")
    assert judged(job(photos=without)) == UNPROVEN
    aside = tuple(ended(item, "09:00") if item.id == "photo-vin" else item for item in facts.photos)
    assert judged(job(photos=aside)) == UNPROVEN
    blurred = tuple(
        replace(item, laplacian_variance=10.0) if item.id == "photo-vin" else item for item in facts.photos
    )
    assert judged(job(photos=blurred)) == ("not_shown", ("unreadable", "identity_unproven"))


# ------------------------------------------------------------------ modules


def test_a_module_with_another_vin() -> None:
    shown = (("Camera", OTHER), ("Brake", VIN))
    assert judged(job(scans=scans(vin_per_module=shown))) == CONFLICT


def explained(**fields: Any) -> Explanation:
    base = Explanation(
        **held("why", "11:00"),
        module="Camera",
        code="",
        ftb=None,
        text="Used camera from a donor car, part record on file, VIN is written at the dealer.",
        by="dpell",
        role="quality_reviewer",
        at=moment("11:00"),
    )
    return replace(base, **fields)


def test_a_used_part_needs_its_record_and_an_explanation() -> None:
    shown = (("Camera", OTHER), ("Brake", VIN))
    used = (replace(module("Camera", "forward_camera"), replaced_used_part=True), *MODULES[1:])
    covered = scans(vin_per_module=shown, modules=used)
    assert judged(job(scans=covered)) == CONFLICT
    assert judged(job(scans=covered, explanations=(explained(),))) == ("met", ())
    assert judged(job(scans=covered, explanations=(explained(code="VIN"),))) == ("met", ())
    assert judged(job(scans=covered, explanations=(explained(module="Brake"),))) == CONFLICT
    assert judged(job(scans=covered, explanations=(explained(code="C1A45"),))) == CONFLICT
    new_part = scans(vin_per_module=shown)
    assert judged(job(scans=new_part, explanations=(explained(),))) == CONFLICT


def test_a_scan_of_another_car_conflicts_until_it_is_set_aside() -> None:
    foreign = replace(
        windshield_job().scans[2], id="foreign", vin_per_module=(("Camera", OTHER), ("Brake", OTHER))
    )
    assert judged(job(scans=(*windshield_job().scans, foreign))) == CONFLICT
    aside = replace(foreign, ended_at=at("11:10"), ended_how="set_aside")
    assert judged(job(scans=(*windshield_job().scans, aside))) == ("met", ())


# ------------------------------------------------------------------ check digit


def renamed(vin: str, **vehicle: Any) -> JobFacts:
    """The job with this VIN wherever the car's own stood."""
    facts = windshield_job()
    return replace(
        facts,
        vehicle=replace(SEDGE, vin=vin, **vehicle),
        identity_readings=tuple(replace(item, vin_read=vin) for item in facts.identity_readings),
        scans=tuple(
            replace(scan, vin_per_module=tuple((name, vin) for name, _ in scan.vin_per_module))
            for scan in facts.scans
        ),
    )


def test_a_wrong_check_digit_by_the_rule_of_the_market() -> None:
    wrong = "Z0ASD1F88S2011835"
    assert judged(renamed(wrong)) == UNPROVEN
    european = identity_agrees(context("CP-EVERY", "who", renamed(wrong, check_digit_rule="advisory")))
    assert said(european) == ("met", ())
    assert any("check digit" in note for note in european.notes)


@pytest.mark.parametrize(
    "vin", ["Z0ASD1F89S201183", "Z0ASD1F89S20118355", "ZOASD1F89S2011835", "ZQASDIF89S2011835"]
)
def test_what_is_no_vin_proves_nothing(vin: str) -> None:
    assert judged(renamed(vin)) == UNPROVEN
    assert judged(renamed(vin, check_digit_rule="advisory")) == UNPROVEN
    sentence = identity_agrees(context("CP-EVERY", "who", renamed(vin))).sentence
    assert "characters instead of 17" in sentence or "in position 2" in sentence


def test_the_final_scan_that_is_compared_must_name_the_car_itself() -> None:
    facts = windshield_job()
    nameless = replace(
        facts.scans[2], **held("scan-final-2", "11:10"), ended=moment("11:10"), vin_per_module=()
    )
    assert judged(job(scans=(*facts.scans, nameless))) == UNPROVEN
