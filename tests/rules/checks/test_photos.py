"""Photos: the same picture elsewhere, time, place, readability and slip, at every limit."""

from dataclasses import replace

import pytest

from rules.checks.photos import Setting, photo_faults, photo_set, shows_own_slip
from rules.facts import Delivery, Reuse, SlipSeen
from tests.rules.builders import EASTMARCH, at, check_context, ended, held, loose, moment, photo, with_records
from tests.rules.packs_on_file import procedure, proof
from tests.rules.windshield_job import unsigned_job


def reasons(item, facts=None, gate="13:00"):
    setting = Setting(facts=facts or unsigned_job(), gate_at=at(gate), place=EASTMARCH)
    return [(fault.reason.code, fault.reason.verdict) for fault in photo_faults(setting, item)]


def a_photo(**fields):
    return photo("p", ("plate",), fields.pop("when", "10:00"), **fields)


def test_a_good_photo_has_no_fault():
    assert reasons(a_photo()) == []


def reuse(**fields):
    base = {"other_evidence": "other", "distance": 0, "same_job": False, "same_bytes": False}
    return Reuse(**{**base, **fields})


NOT_SHOWN = [("reuse_alike", "not_shown")]


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        (reuse(same_bytes=True), [("reuse_exact", "not_met")]),
        (reuse(same_bytes=True, same_job=True), []),
        (reuse(distance=3), NOT_SHOWN),
        (reuse(distance=6), NOT_SHOWN),
        (reuse(distance=7), []),
        (reuse(distance=3, same_job=True), []),
        (reuse(distance=3, correlation=0.969999), []),
        (reuse(distance=3, correlation=0.97), NOT_SHOWN),
        (reuse(distance=3, decision="different"), []),
        (reuse(distance=3, decision="same picture"), [("reuse_alike", "not_met")]),
        (reuse(same_bytes=True, decision="different"), [("reuse_exact", "not_met")]),
    ],
)
def test_the_same_picture_elsewhere(entry, expected):
    assert reasons(a_photo(reuse=(entry,))) == expected


@pytest.mark.parametrize(
    ("when", "half_s", "expected"),
    [
        ("07:55", 0, []),
        ("07:54:59", 0, ["outside_window"]),
        ("13:00", 0, []),
        ("13:00:01", 0, ["outside_window"]),
        ("07:55:30", 60, ["outside_window"]),
    ],
)
def test_the_job_window_runs_from_opening_to_the_gate_instant(when, half_s, expected):
    item = replace(a_photo(), captured=loose(when, half_s))
    assert [code for code, _ in reasons(item)] == expected


def test_after_delivery_the_window_ends_with_it():
    facts = replace(unsigned_job(), delivery=Delivery(**held("d", "12:00"), at=moment("12:00")))
    assert reasons(a_photo(when="12:00"), facts) == []
    assert reasons(a_photo(when="12:01"), facts) == [("outside_window", "not_shown")]


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        # 234 m and 4150 m from the shop on a sphere of radius 6371008.8 m.
        ({"lat": 43.1021, "lon": -98.2, "accuracy_m": None}, []),
        ({"lat": 43.1265, "lon": -98.164, "accuracy_m": None}, ["far_from_shop"]),
        ({"lat": 43.1265, "lon": -98.164, "stage": "drive"}, []),
        ({"lat": 43.1265, "lon": -98.164, "stage": "delivery"}, []),
        ({"lat": 43.1265, "lon": -98.164, "accuracy_m": 3899.0}, ["far_from_shop"]),
        ({"lat": 43.1265, "lon": -98.164, "accuracy_m": 3900.0}, []),
        ({"lat": None, "lon": None}, []),
    ],
)
def test_the_place_is_within_the_radius_and_the_accuracy(fields, expected):
    assert [code for code, _ in reasons(a_photo(**fields))] == expected


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"width": 1600, "height": 1200}, []),
        ({"width": 1200, "height": 1600}, []),
        ({"width": 1599, "height": 1200}, ["unreadable"]),
        ({"width": 1600, "height": 1199}, ["unreadable"]),
        ({"laplacian_variance": 60.0}, []),
        ({"laplacian_variance": 59.999999}, ["unreadable"]),
        ({"laplacian_variance": None}, ["unreadable"]),
        ({"clipped_share": 0.40}, []),
        ({"clipped_share": 0.400001}, ["unreadable"]),
        ({"clipped_share": None}, ["unreadable"]),
        ({"readable": "no"}, ["unreadable"]),
        ({"readable": "not_judged"}, []),
    ],
)
def test_readability_at_its_limits(fields, expected):
    assert [code for code, _ in reasons(a_photo(**fields))] == expected


def slip(**fields):
    return SlipSeen(**{"job_id": "job-417", "issued_at": at("08:00"), "authentic": True, **fields})


def test_a_slip_of_another_job_is_an_identity_conflict_unless_it_is_forged():
    other = a_photo(slip=slip(job_id="job-9"))
    assert reasons(other) == [("identity_conflict", "not_met")]
    assert reasons(a_photo(slip=slip(job_id="job-9", authentic=False))) == []


@pytest.mark.parametrize(
    ("when", "fields", "seen"),
    [
        ("08:03", {}, True),
        ("12:00", {}, True),  # four hours after issue
        ("12:00:01", {}, False),
        ("07:59:59", {}, False),  # before it was issued
        ("08:03", {"job_id": "job-9"}, False),
        ("08:03", {"authentic": False}, False),
    ],
)
def test_a_slip_counts_from_its_issue_for_four_hours(when, fields, seen):
    item = replace(a_photo(slip=slip(**fields)), captured=moment(when))
    assert shows_own_slip(unsigned_job(), item) is seen
    assert not shows_own_slip(unsigned_job(), a_photo())


def judged(facts, gate="13:00"):
    context = check_context(facts, procedure("CP-EVERY"), proof("CP-EVERY", "photos"), None, gate)
    outcome = photo_set(context)
    return outcome.verdict, outcome.reasons


def without(facts, photo_id):
    return replace(facts, photos=tuple(item for item in facts.photos if item.id != photo_id))


def test_the_common_set_of_photos():
    facts = unsigned_job()
    assert judged(facts) == ("met", ())
    assert judged(without(facts, "photo-plate")) == ("not_shown", ("missing",))
    aside = tuple(ended(item, "09:00") if item.id == "photo-plate" else item for item in facts.photos)
    assert judged(replace(facts, photos=aside)) == ("not_shown", ("missing",))


def test_the_front_needs_the_slip():
    facts = unsigned_job()
    bare = tuple(replace(item, slip=None) if item.id == "photo-front" else item for item in facts.photos)
    assert judged(replace(facts, photos=bare)) == ("not_shown", ("missing",))


def test_one_good_photo_is_enough_and_bad_ones_alone_are_not():
    blurred = photo("blurred", ("plate",), "09:00", laplacian_variance=5.0)
    facts = unsigned_job()
    assert judged(with_records(facts, photos=[blurred])) == ("met", ())
    only = with_records(without(facts, "photo-plate"), photos=[blurred])
    assert judged(only) == ("not_shown", ("unreadable",))


def test_the_odometer_out_is_asked_for_after_delivery_only():
    facts = replace(unsigned_job(), delivery=Delivery(**held("d", "12:00"), at=moment("12:00")))
    assert judged(facts, "12:00") == ("met", ())
    assert judged(facts, "12:01") == ("not_shown", ("missing",))
    out = photo("out", ("odometer_out",), "12:00", stage="delivery")
    assert judged(with_records(facts, photos=[out]), "12:01") == ("met", ())


def test_the_odometer_out_is_asked_for_where_the_clock_reaches_up_to_the_receipt():
    handed_over = replace(moment("12:00"), low=at("11:59"))
    facts = replace(unsigned_job(), delivery=Delivery(**held("d", "12:00"), at=handed_over))
    assert judged(facts, "12:00") == ("not_shown", ("missing",))
