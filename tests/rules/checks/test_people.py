"""Who signs, who differs from whom, and who is qualified on the local day of the work."""

from dataclasses import replace
from datetime import date

import pytest

from rules.checks.people import is_valid_on, people_qualified, signed
from rules.facts import Qualification, SessionPart
from tests.rules.builders import at, check_context, held, moment, person, session, sha
from tests.rules.packs_on_file import packs_on_file, procedure, proof
from tests.rules.windshield_job import sign_off, unsigned_job, windshield_job


def context_of(facts, proof_id, **required):
    """CP-EVERY's proof with the camera's session as the governing one."""
    context = check_context(facts, procedure("CP-EVERY"), proof("CP-EVERY", proof_id), None)
    edition = packs_on_file().editions[0]
    camera = replace(
        context.current,
        procedure=procedure("OV-FC-ROAD"),
        session=facts.sessions[0] if facts.sessions else None,
    )
    bond = replace(context.current, procedure=procedure("CP-BOND"), edition=edition, session=None)
    every = {"CP-EVERY": context.current, "CP-BOND": bond, "OV-FC-ROAD": camera}
    return replace(context, required={**every, **required})


def result(check, context):
    outcome = check(context)
    return outcome.verdict, outcome.reasons


def with_review_by(who, *, observer=None):
    facts = unsigned_job()
    facts = replace(facts, sessions=(replace(facts.sessions[0], observer=observer),))
    return replace(
        facts,
        sign_offs=(
            sign_off("t", "technician", "itolvaar", "11:20", facts),
            sign_off("r", "quality_reviewer", who, "11:40", facts),
        ),
    )


@pytest.mark.parametrize(
    ("who", "observer", "expected"),
    [
        ("dpell", None, ("met", ())),
        ("itolvaar", None, ("not_met", ("same_person",))),
        ("person-itolvaar", None, ("not_met", ("same_person",))),  # the same human by another name
        ("dpell", "dpell", ("not_met", ("same_person",))),
        ("dpell", "mondry", ("met", ())),
    ],
)
def test_the_reviewer_is_another_person_than_signer_performer_and_observer(who, observer, expected):
    assert result(signed, context_of(with_review_by(who, observer=observer), "second")) == expected


def test_the_reviewer_is_not_the_performer_though_another_technician_signed():
    facts = with_review_by("itolvaar")
    facts = replace(facts, sign_offs=(replace(facts.sign_offs[0], person="mondry"), facts.sign_offs[1]))
    assert result(signed, context_of(facts, "second")) == ("not_met", ("same_person",))


def test_no_signature_and_a_stale_one():
    facts = unsigned_job()
    assert result(signed, context_of(facts, "sign")) == ("not_shown", ("not_signed",))
    late = replace(facts.statements[0], id="late", sha256=sha("late"), received_at=at("11:45"))
    stale = replace(with_review_by("dpell"), statements=(*facts.statements, late))
    assert result(signed, context_of(stale, "sign")) == ("not_shown", ("sign_off_stale",))
    own = replace(with_review_by("itolvaar"), statements=(*facts.statements, late))
    assert result(signed, context_of(own, "second")) == ("not_met", ("same_person", "sign_off_stale"))


def people_with(facts, login, *kinds):
    changed = person(login, login, "technician", *kinds)
    return replace(facts, people=(*(item for item in facts.people if item.login != login), changed))


@pytest.mark.parametrize(
    ("kinds", "expected"),
    [
        (("aim.dynamic",), ("met", ())),
        (("aim.static", "aim.radar"), ("not_shown", ("missing",))),
        ((), ("not_shown", ("missing",))),
    ],
)
def test_the_aimer_of_a_camera_on_the_road_needs_aim_dynamic(kinds, expected):
    facts = people_with(windshield_job(), "itolvaar", *kinds)
    assert result(people_qualified, context_of(facts, "staff")) == expected


@pytest.mark.parametrize(
    ("sensors", "kind", "asked"),
    [
        (("forward_camera",), "static", "aim.static"),
        (("forward_camera",), "dynamic", "aim.dynamic"),
        (("front_radar",), "static", "aim.radar"),
        (("rear_corner_radar",), "static", "aim.radar"),
        (("surround_cameras",), "static", "aim.surround"),
    ],
)
def test_each_sensor_asks_for_its_own_kind(sensors, kind, asked):
    base = context_of(windshield_job(), "staff")
    text = replace(procedure("OV-FC-ROAD"), kind=kind)
    camera = replace(base.required["OV-FC-ROAD"], procedure=text, sensors=sensors)
    for held_kind in ("aim.static", "aim.dynamic", "aim.radar", "aim.surround"):
        facts = people_with(windshield_job(), "itolvaar", held_kind)
        context = replace(base, facts=facts, required={**base.required, "OV-FC-ROAD": camera})
        expected = "met" if held_kind == asked else "not_shown"
        assert people_qualified(context).verdict == expected, held_kind


@pytest.mark.parametrize("held_kind", ["aim.static", "aim.surround"])
def test_any_aim_kind_will_do_for_parking_sensors_and_for_teaching(held_kind):
    facts = people_with(windshield_job(), "itolvaar", held_kind)
    base = context_of(facts, "staff")
    current = base.required["OV-FC-ROAD"]
    for text, sensors in [
        (procedure("OV-PK"), ("parking_sensors",)),
        (procedure("OV-SAS"), ("steering_angle_sensor",)),
    ]:
        one = replace(current, procedure=text, sensors=sensors)
        assert result(people_qualified, replace(base, required={"x": one})) == ("met", ())
        nobody = people_with(facts, "itolvaar", "scan")
        outcome = people_qualified(replace(base, facts=nobody, required={"x": one}))
        assert outcome.reasons == ("missing",)


def test_each_part_asks_for_the_qualification_of_who_did_it():
    text = procedure("OV-FC-STILL-THEN-ROAD")
    still = SessionPart(part="still", started=moment("10:00"), ended=moment("10:20"), result="completed")
    road = SessionPart(part="road", started=moment("12:00"), ended=moment("12:30"), result="completed")
    first = session("s1", text.id, "10:00", "10:20", parts=(still,))
    again = session(
        "s2", text.id, "12:00", "12:30", parts=(road,), performed_by="mondry", reuses_part_of="s1"
    )
    facts = replace(windshield_job(), sessions=(first, again), sign_offs=())
    joined = replace(again, parts=(still, road))
    base = context_of(facts, "staff")
    one = replace(base.required["OV-FC-ROAD"], procedure=text, session=joined)
    for driver, expected in [(("aim.dynamic",), "met"), (("aim.static",), "not_shown")]:
        who = people_with(people_with(facts, "itolvaar", "aim.static"), "mondry", *driver)
        assert people_qualified(replace(base, facts=who, required={"x": one})).verdict == expected


def test_who_bonds_glass_needs_glass_set():
    facts = people_with(windshield_job(), "mondry", "scan")
    assert result(people_qualified, context_of(facts, "staff")) == ("not_shown", ("missing",))


def test_who_reviews_needs_review_even_when_the_job_has_no_session():
    facts = people_with(windshield_job(), "dpell", "scan")
    assert result(people_qualified, context_of(facts, "staff")) == ("not_shown", ("missing",))


def test_nobody_to_judge_is_met_and_says_so():
    facts = replace(unsigned_job(), sessions=(), operations=())
    outcome = people_qualified(context_of(facts, "staff"))
    assert outcome.verdict == "met"
    assert "Nobody" in outcome.sentence


def qualification(**fields):
    base = {
        **held("q", "2026-01-01 10:00"),
        "kind": "aim.dynamic",
        "issuer": "x",
        "number": "1",
        "issued_on": date(2025, 5, 5),
        "expires_on": date(2026, 5, 5),
        "revoked_on": None,
    }
    return Qualification(**{**base, **fields})


@pytest.mark.parametrize(
    ("fields", "valid"),
    [
        ({}, True),  # the last day belongs to it
        ({"expires_on": date(2026, 5, 4)}, False),
        ({"expires_on": None}, True),
        ({"issued_on": date(2026, 5, 5)}, True),
        ({"issued_on": date(2026, 5, 6), "expires_on": None}, False),
        ({"revoked_on": date(2026, 5, 5)}, False),
        ({"revoked_on": date(2026, 5, 6)}, True),
    ],
)
def test_a_qualification_is_valid_from_issue_to_expiry_unless_revoked(fields, valid):
    assert is_valid_on(qualification(**fields), date(2026, 5, 5)) is valid


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"expires_on": date(2026, 5, 4)}, ("not_met", ("person_not_qualified",))),
        ({"revoked_on": date(2026, 5, 5)}, ("not_met", ("person_not_qualified",))),
        ({"issued_on": date(2026, 5, 6), "expires_on": None}, ("not_shown", ("missing",))),
        ({"expires_on": date(2026, 5, 5)}, ("met", ())),
    ],
)
def test_expired_or_revoked_is_not_met_and_not_on_file_is_not_shown(fields, expected):
    facts = windshield_job()
    ines = replace(
        next(item for item in facts.people if item.login == "itolvaar"),
        qualifications=(qualification(**fields),),
    )
    facts = replace(facts, people=(*(p for p in facts.people if p.login != "itolvaar"), ines))
    assert result(people_qualified, context_of(facts, "staff")) == expected


def test_the_day_is_the_local_day_at_the_place_of_the_session():
    """23:30 local on 5 May is already 6 May in UTC; a paper that ends on the 5th still covers it."""
    late = session("session-1", "OV-FC-ROAD", "23:30", "23:50", bay=None)
    facts = replace(windshield_job(), sessions=(late,))
    ines = replace(
        next(item for item in facts.people if item.login == "itolvaar"),
        qualifications=(qualification(expires_on=date(2026, 5, 5)),),
    )
    facts = replace(facts, people=(*(p for p in facts.people if p.login != "itolvaar"), ines))
    assert result(people_qualified, context_of(facts, "staff")) == ("met", ())
