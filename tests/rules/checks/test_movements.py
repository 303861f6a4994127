"""Road movements: which records show one, in which order, and what a gate instant leaves out."""

from dataclasses import replace

from rules.checks.movements import first_road_movement, road_movements
from rules.facts import Delivery
from tests.rules.builders import at, held, loose, moment
from tests.rules.windshield_job import odometer, windshield_job


def test_the_finished_job_moved_once() -> None:
    found = road_movements(windshield_job(), at("12:00"))
    assert [(item.kind, item.record_id) for item in found] == [("drive_log", "drive-1")]
    assert first_road_movement(windshield_job(), at("12:00")) == found[0].start
    assert first_road_movement(windshield_job(), at("10:33")) is None


def test_only_what_follows_the_setting_is_a_first_movement() -> None:
    facts = replace(
        windshield_job(), glass_sets=(replace(windshield_job().glass_sets[0], set_at=moment("11:00")),)
    )
    assert first_road_movement(facts, at("12:00")) is None
    delivered = replace(facts, delivery=Delivery(**held("delivery", "12:30"), at=moment("12:30")))
    assert first_road_movement(delivered, at("13:00")) == moment("12:30")


def test_without_glass_the_first_of_all() -> None:
    facts = replace(windshield_job(), glass_sets=())
    assert first_road_movement(facts, at("12:00")) == road_movements(facts, at("12:00"))[0].start


def test_set_aside_records_move_nothing() -> None:
    ended = replace(windshield_job().drive_logs[0], ended_at=at("11:00"), ended_how="set_aside")
    facts = replace(windshield_job(), drive_logs=(ended,))
    kinds = [item.kind for item in road_movements(facts, at("12:00"))]
    assert kinds == ["odometer"]  # the odometer still shows that the car was driven


def test_an_odometer_that_runs_back_is_a_movement_too() -> None:
    facts = replace(
        windshield_job(),
        drive_logs=(),
        readings=(odometer("a", 500.0, "09:00"), odometer("b", 20.0, "10:00")),
    )
    found = road_movements(facts, at("12:00"))
    assert [item.kind for item in found] == ["odometer"]
    assert (found[0].start.low, found[0].start.high) == (at("09:00"), at("10:00"))
    driven = replace(windshield_job(), readings=(odometer("a", 500.0, "10:30"), odometer("b", 20.0, "10:53")))
    assert {item.kind for item in road_movements(driven, at("12:00"))} == {"drive_log", "odometer"}


def test_the_first_of_several_is_an_interval_where_clocks_leave_it_open() -> None:
    facts = windshield_job()
    near = Delivery(**held("delivery", "10:34"), at=loose("10:34", 60))
    found = first_road_movement(replace(facts, delivery=near), at("12:00"))
    assert found is not None
    assert (found.low, found.high) == (at("10:33"), at("10:34"))
