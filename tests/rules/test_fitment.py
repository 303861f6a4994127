"""What counts as established: two different ways that agree, and no answering module against a no."""

from dataclasses import replace

import pytest

from rules.fitment import fitted_fact, fitted_state, open_sensors
from rules.scans import first_scan, is_scan_of_this_car, normal_code, normal_vin, own_scans
from rules.vocabulary import SENSORS
from tests.rules.cast import OTHER_VIN, corran, ended, fitted, job, scan, way

CAMERA = "forward_camera"


@pytest.mark.parametrize(
    ("ways", "state"),
    [
        ((), "unknown"),
        ((("yes", "sight"),), "unknown"),
        ((("no", "sight"),), "unknown"),
        ((("yes", "sight"), ("yes", "sight")), "unknown"),
        ((("yes", "sight"), ("yes", "build_data")), "yes"),
        ((("no", "sight"), ("no", "build_data")), "no"),
        ((("yes", "sight"), ("yes", "scan_module")), "yes"),
        ((("yes", "sight"), ("yes", "owner_statement")), "unknown"),
        ((("no", "sight"), ("no", "owner_statement")), "unknown"),
        ((("yes", "sight"), ("yes", "build_data"), ("no", "owner_statement")), "yes"),
        ((("yes", "sight"), ("no", "build_data")), "unknown"),
        ((("yes", "sight"), ("yes", "build_data"), ("no", "scan_module")), "unknown"),
        ((("yes", "sight"), ("yes", "build_data"), ("unknown", "scan_module")), "yes"),
        ((("unknown", "sight"), ("unknown", "build_data")), "unknown"),
    ],
)
def test_states(ways: tuple[tuple[str, str], ...], state: str) -> None:
    facts = job(fitted_ways=tuple(way(CAMERA, said, how) for said, how in ways))
    assert fitted_state(facts, CAMERA) == state
    assert fitted_state(facts, "front_radar") == "unknown"


def test_a_set_aside_way_counts_no_more() -> None:
    ways = (way(CAMERA, "yes", "sight"), way(CAMERA, "yes", "build_data"))
    assert fitted_state(job(fitted_ways=ways), CAMERA) == "yes"
    assert fitted_state(job(fitted_ways=(ways[0], ended(ways[1], "set_aside"))), CAMERA) == "unknown"


def test_three_ways_where_a_pack_asks_for_three() -> None:
    ways = (way(CAMERA, "yes", "sight"), way(CAMERA, "yes", "build_data"))
    assert fitted_state(job(fitted_ways=ways), CAMERA, ways=3) == "unknown"
    third = (*ways, way(CAMERA, "yes", "scan_module"))
    assert fitted_state(job(fitted_ways=third), CAMERA, ways=3) == "yes"


def test_an_answering_module_contradicts_a_no_only_in_a_scan_of_this_car() -> None:
    ways = fitted("front_radar")
    own = job(fitted_ways=ways, scans=(scan(answering=(CAMERA,)),))
    assert fitted_state(own, CAMERA) == "unknown"
    assert "answered" in fitted_fact(own, CAMERA)
    own_vin = own.vehicle.vin
    assert fitted_state(replace(own, scans=(scan(answering=(CAMERA,), vin=own_vin),)), CAMERA) == "unknown"
    foreign = scan(answering=(CAMERA,), vin=OTHER_VIN)
    assert fitted_state(replace(own, scans=(foreign,)), CAMERA) == "no"
    aside = ended(scan(answering=(CAMERA,)), "set_aside")
    assert fitted_state(replace(own, scans=(aside,)), CAMERA) == "no"
    other_module = scan(answering=("front_radar",))
    assert fitted_state(replace(own, scans=(other_module,)), CAMERA) == "no"
    silent = replace(own.scans[0].modules[0], answered=False)
    assert fitted_state(replace(own, scans=(replace(scan(), modules=(silent,)),)), CAMERA) == "no"


def test_a_module_does_not_contradict_a_yes_and_is_no_way_by_itself() -> None:
    assert fitted_state(corran(scans=(scan(answering=(CAMERA,)),)), CAMERA) == "yes"
    assert fitted_state(job(scans=(scan(answering=(CAMERA,)),)), CAMERA) == "unknown"


def test_open_sensors_in_the_order_of_the_vocabulary() -> None:
    assert open_sensors(job()) == SENSORS
    assert open_sensors(job(fitted_ways=fitted(unknown=("lidar", CAMERA)))) == (CAMERA, "lidar")
    assert fitted_fact(job(), CAMERA) == "nothing recorded that counts"


def test_scans_of_this_car() -> None:
    facts = job()
    vin = facts.vehicle.vin
    assert is_scan_of_this_car(scan(), facts)
    assert is_scan_of_this_car(scan(vin=vin.lower()), facts)
    assert not is_scan_of_this_car(scan(vin=OTHER_VIN), facts)
    mixed = replace(scan(), vin_per_module=(("body", vin), ("radar", OTHER_VIN)))
    assert is_scan_of_this_car(mixed, facts)
    assert normal_vin(" z0acr4h24t1004217 ") == vin


def test_the_first_scan_and_its_stand_in() -> None:
    assert first_scan(job()) == (None, False)
    early, late = scan(minutes=1), scan(minutes=3)
    aiming = scan("before_calibration", 20), scan("before_calibration", 30)
    both = job(scans=(late, early, *aiming))
    assert first_scan(both) == (late, False)
    only_aiming = job(scans=(aiming[1], aiming[0]))
    assert first_scan(only_aiming) == (aiming[0], True)
    assert first_scan(job(scans=(scan("final", 50),))) == (None, False)
    assert own_scans(both, "before_calibration") == aiming


@pytest.mark.parametrize("text", ["C1A4554", "C1A45:54", "c1a45-54", " C1A45 54 "])
def test_one_code_in_many_spellings(text: str) -> None:
    assert normal_code(text) == ("C1A45", "54")


def test_a_code_without_failure_type() -> None:
    assert normal_code("B2210") == ("B2210", None)
