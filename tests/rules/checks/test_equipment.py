"""equipment_valid: only instruments that outcomes rest on, each on the local day and place of its use."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from rules.checks.equipment import equipment_valid
from rules.facts import BeforeUseCheck, CalibrationPoint, Equipment, JobFacts
from rules.judging import Desk, judge_all
from rules.verdict import Number, Outcome
from tests.rules.builders import at, certificate, equipment, held, moment, reading
from tests.rules.measured import Z, context, required, said
from tests.rules.windshield_job import EQUIPMENT, windshield_job


def outcomes_of(facts: JobFacts) -> dict[tuple[str, str], Outcome]:
    """Every other proof of the job, really judged."""
    desk = Desk(
        facts=facts, gate_at=at("11:50"), required=required(facts), z=Z, waived=(), refused_sensors=()
    )
    return {key: outcome for key, outcome in judge_all(desk).items() if key[1] not in ("gear", "staff")}


def judged(facts: JobFacts, outcomes: dict[tuple[str, str], Outcome] | None = None) -> Outcome:
    found = outcomes_of(facts) if outcomes is None else outcomes
    return equipment_valid(context("CP-EVERY", "gear", facts, outcomes=found))


def changed(tag: str, **fields: Any) -> JobFacts:
    """The job with one instrument changed."""
    tools = tuple(replace(item, **fields) if item.tag == tag else item for item in EQUIPMENT)
    return replace(windshield_job(), equipment=tools)


def test_everything_in_date() -> None:
    outcome = judged(windshield_job())
    assert said(outcome) == ("met", ())
    assert outcome.instruments == ("CL-006", "PG-022", "SD-011", "VL-009")
    assert "certificate-PG-022" in outcome.evidence


def test_no_instrument_is_met_and_says_so() -> None:
    outcome = judged(windshield_job(), {})
    assert said(outcome) == ("met", ())
    assert "No verdict" in outcome.sentence


@pytest.mark.parametrize("tag", ["PG-022", "VL-009", "CL-006"])
def test_each_instrument_in_use_is_judged(tag: str) -> None:
    assert said(judged(changed(tag, interval_months=3))) == ("not_met", ("instrument_overdue",))
    assert said(judged(changed(tag, certificates=()))) == ("not_shown", ("instrument_no_certificate",))
    assert said(judged(changed(tag, state="quarantined"))) == ("not_met", ("instrument_suspended",))


def test_an_instrument_that_nothing_rests_on_is_not_judged() -> None:
    idle = equipment("TM-099", "tape", "mm", certificate("TM-099", "mm", ((1000, 0.2),), date(2020, 1, 1)))
    assert said(judged(replace(windshield_job(), equipment=(*EQUIPMENT, idle)))) == ("met", ())


def test_a_reading_superseded_by_a_later_set_is_not_judged() -> None:
    old = replace(
        windshield_job().readings[2], id="old", at=replace(windshield_job().opened), instrument="PG-031"
    )
    facts = replace(windshield_job(), readings=(*windshield_job().readings, old))
    assert said(judged(facts)) == ("met", ())


def test_an_instrument_nobody_listed() -> None:
    unknown = replace(windshield_job(), equipment=tuple(item for item in EQUIPMENT if item.tag != "PG-022"))
    assert said(judged(unknown)) == ("not_shown", ("instrument_no_certificate",))


def test_range_by_the_value_read() -> None:
    narrow = certificate("PG-022", "kPa", ((100, 2.0), (225, 2.0)), date(2026, 1, 12))
    outcome = judged(changed("PG-022", certificates=(narrow,)))
    assert said(outcome) == ("not_shown", ("instrument_range",))
    points = tuple(
        CalibrationPoint(nominal=v, indication=v, error=0.0, expanded_u=0.03, k=2.0, unit="V")
        for v in (13.3, 16.0)
    )
    logger = replace(certificate("VL-009", "V", (), date(2026, 1, 12)), points=points)
    assert said(judged(changed("VL-009", certificates=(logger,)))) == ("not_shown", ("instrument_range",))
    dry_only = replace(
        certificate("CL-006", "percent", ((10, 3.0), (95, 3.0)), date(2026, 1, 12)),
    )
    assert said(judged(changed("CL-006", certificates=(dry_only,)))) == ("not_shown", ("instrument_range",))


def test_a_certificate_filed_later_counts_and_its_filing_is_told() -> None:
    late = replace(EQUIPMENT[0].certificates[0], received_at=at("2026-05-20 09:00"))
    outcome = judged(changed("PG-022", certificates=(late,)))
    assert said(outcome) == ("met", ())
    assert any("was filed on 2026-05-20" in note for note in outcome.notes)


def test_without_as_found_data_is_a_note() -> None:
    bare = replace(EQUIPMENT[0].certificates[0], no_as_found=True)
    outcome = judged(changed("PG-022", certificates=(bare,)))
    assert said(outcome) == ("met", ())
    assert any("no as-found" in note for note in outcome.notes)


@pytest.mark.parametrize(("before", "verdict"), [(9, "met"), (10, "not_met")])
def test_limit_of_uses_counts_sessions_not_readings(before: int, verdict: str) -> None:
    facts = changed("PG-022", interval_uses=10, uses_before=before)
    assert judged(facts).verdict == verdict


def test_the_local_day_is_that_of_the_place() -> None:
    # 30 April 22:40 in Eastmarch is 1 May in UTC; due on 30 April.
    tape = Equipment(
        tag="TM-015", cls="tape", unit="mm", needs_certificate=True, interval_months=6, interval_uses=None,
        in_service_from=date(2024, 1, 8), state="in_service",
        certificates=(certificate("TM-015", "mm", ((1000, 0.2), (7000, 0.2)), date(2025, 10, 31)),),
    )  # fmt: skip
    for when, expected in (("2026-04-30 22:40", ()), ("2026-05-01 00:10", ("instrument_overdue",))):
        taken = reading("tape", "target_distance", "d_LL", 3200.0, "mm", when, instrument="TM-015")
        facts = replace(windshield_job(), readings=(taken,), equipment=(tape,))
        rests = Outcome(
            verdict="met", instruments=("TM-015",), evidence=("tape",),
            numbers=(Number(name="distance", value=3200.0, unit="mm"),),
        )  # fmt: skip
        assert judged(facts, {("X", "target"): rests}).reasons == expected


def test_a_check_before_use_belongs_to_the_local_day() -> None:
    def check(when: str) -> BeforeUseCheck:
        return BeforeUseCheck(**held("check", when), at=moment(when), passed=True)

    taken = reading("tape", "target_distance", "d_LL", 3200.0, "mm", "22:40", instrument="TM-015")
    rests = Outcome(verdict="met", instruments=("TM-015",), evidence=("tape",))
    found = []
    for when in ("2026-05-05 00:30", "2026-05-04 23:30"):
        tape = equipment(
            "TM-015", "tape", "mm", certificate("TM-015", "mm", ((1000, 0.2), (7000, 0.2)), date(2026, 1, 5)),
            needs_check_before_use=True, before_use_checks=(check(when),),
        )  # fmt: skip
        facts = replace(windshield_job(), readings=(taken,), equipment=(tape,))
        found.append(judged(facts, {("X", "target"): rests}).reasons)
    assert found == [(), ("missing",)]


def test_an_outcome_that_names_an_instrument_without_its_reading() -> None:
    rests = Outcome(verdict="met", instruments=("PG-022",), evidence=())
    assert said(judged(windshield_job(), {("X", "tyres"): rests})) == ("not_shown", ("missing",))
