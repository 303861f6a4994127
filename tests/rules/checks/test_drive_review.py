"""The chart's analysis is the verdict's analysis."""

from dataclasses import replace

from rules.checks.drive import drive_log
from rules.checks.drive_review import review_drive
from tests.rules.builders import at
from tests.rules.measured import context, edition, numbers
from tests.rules.windshield_job import windshield_job


def test_steps_and_runs_are_those_of_the_verdict() -> None:
    found = review_drive(windshield_job(), edition("orrinvale", 7), "session-1", at("11:50"))
    assert found is not None
    told = numbers(drive_log(context("OV-FC-ROAD", "drive")))
    assert found.analysis.counted_s == told["counted_s"] == 719.0
    assert len(found.analysis.steps) == len(found.track.fixes) - 1
    assert {step.reason for step in found.analysis.steps} == {"counts", "slow", "turning"}
    assert found.limits.v_min_kph == 65.0
    assert found.needs.total is not None


def test_nothing_to_review() -> None:
    facts, book, gate = windshield_job(), edition("orrinvale", 7), at("11:50")
    assert review_drive(facts, book, "nobody", gate) is None
    assert review_drive(facts, edition("common-practice", 3), "session-1", gate) is None
    assert review_drive(replace(facts, drive_logs=()), book, "session-1", gate) is None
    back = replace(facts.drive_logs[0], fixes=facts.drive_logs[0].fixes[::-1])
    assert review_drive(replace(facts, drive_logs=(back,)), book, "session-1", gate) is None
