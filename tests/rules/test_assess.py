"""The whole judgement where something is wrong: unknown facts, unknown checks, other editions, failures."""

from dataclasses import replace
from datetime import date

import pytest

from rules.assess import assess
from rules.checks.library import CHECKS
from rules.editions import edition_for_session, editions_at
from rules.facts import Moment
from rules.packs.check_library import CHECKS as PACK_CHECKS
from rules.packs.model import PackSet
from rules.verdict import REASON_ORDER
from tests.rules.builders import at, loose, session
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import fitted, unsigned_job, windshield_job


def judge(facts, when="11:50", packs=None):
    return assess(packs or packs_on_file(), facts, as_of=at(when))


def finding(result, procedure_id, proof_id):
    return next(
        item for item in result.findings if (item.procedure_id, item.proof_id) == (procedure_id, proof_id)
    )


def with_proof(proof_id, **changes):
    """The packs on file with one proof of the common record changed."""
    common = packs_on_file().editions[0]
    every = common.procedure("CP-EVERY")
    assert every is not None
    proofs = tuple(replace(item, **changes) if item.id == proof_id else item for item in every.proofs)
    procedures = tuple(
        replace(every, proofs=proofs) if item.id == "CP-EVERY" else item for item in common.procedures
    )
    return PackSet(editions=(replace(common, procedures=procedures), *packs_on_file().editions[1:]))


def test_every_check_that_a_pack_may_name_is_in_the_library():
    assert set(PACK_CHECKS) == set(CHECKS)


def test_a_check_that_fails_is_not_shown_and_holds_the_job():
    """An argument of a kind that the check cannot take makes it fail inside; that is never met."""
    result = judge(windshield_job(), packs=with_proof("fit", arguments={"ways": "two"}))
    item = finding(result, "CP-EVERY", "fit")
    assert (item.verdict, item.outcome.reasons) == ("not_shown", ("not_judged",))
    assert "fit_known" in item.outcome.sentence
    assert (result.verdict, result.disposition) == ("not_shown", "hold")
    others = [one for one in result.findings if one.proof_id not in ("fit",)]
    assert all(one.verdict == "met" for one in others)


def test_a_check_that_nobody_knows_is_not_shown():
    result = judge(windshield_job(), packs=with_proof("fit", check="horoscope"))
    assert finding(result, "CP-EVERY", "fit").outcome.reasons == ("not_judged",)
    assert result.disposition == "hold"


@pytest.mark.parametrize("check", ["ride_heights", "target_pose", "value", "floor_survey", "film_build"])
def test_a_check_without_its_limits_is_not_judged(check):
    item = finding(judge(windshield_job(), packs=with_proof("fit", check=check)), "CP-EVERY", "fit")
    assert (item.verdict, item.outcome.reasons) == ("not_shown", ("not_judged",))


def test_what_cannot_be_told_holds_and_counts_as_not_shown():
    facts = windshield_job()
    ways = tuple(item for item in facts.fitted_ways if item.sensor != "forward_camera")
    result = judge(replace(facts, fitted_ways=ways))
    camera = next(item for item in result.procedures if item.procedure_id == "OV-FC-ROAD")
    assert (camera.state, camera.verdict) == ("cannot_tell", "not_shown")
    assert (result.disposition, result.statement) == ("hold", "cannot_tell")
    assert any("cannot tell" in line for line in result.held_because)


def test_without_any_session_every_proof_but_the_citation_is_missing():
    facts = replace(unsigned_job(), sessions=())
    result = judge(facts)
    for item in result.findings:
        if item.procedure_id == "OV-FC-ROAD":
            expected = ("met", ()) if item.proof_id == "text_current" else ("not_shown", ("missing",))
            assert (item.verdict, item.outcome.reasons) == expected, item.proof_id


def test_glass_set_again_after_the_session_leaves_no_governing_session():
    facts = unsigned_job()
    again = replace(
        facts.operations[0],
        id="again",
        started=Moment.exact(at("11:00")),
        done=Moment.exact(at("11:20")),
        received_at=at("11:25"),
    )
    result = judge(replace(facts, operations=(*facts.operations, again)), "12:00")
    camera = next(item for item in result.procedures if item.procedure_id == "OV-FC-ROAD")
    assert camera.governing_session is None
    assert [item.governs for item in camera.attempts] == [False]
    assert camera.attempts[0].findings


def test_a_start_that_clocks_leave_open_is_unprovable():
    facts = unsigned_job()
    blurred = replace(facts.sessions[0], started=loose("10:30", 4 * 3600.0))
    item = finding(judge(replace(facts, sessions=(blurred,))), "OV-FC-ROAD", "order")
    assert "order_unprovable" in item.outcome.reasons


def test_a_failed_session_is_not_met_even_where_no_result_is_asked_for():
    orrinvale = packs_on_file().editions[1]
    road = orrinvale.procedure("OV-FC-ROAD")
    assert road is not None
    silent = replace(road, proofs=tuple(item for item in road.proofs if item.check != "tool_result"))
    procedures = tuple(silent if item.id == road.id else item for item in orrinvale.procedures)
    packs = PackSet(editions=(packs_on_file().editions[0], replace(orrinvale, procedures=procedures)))
    facts = unsigned_job()
    failed = replace(facts, sessions=(replace(facts.sessions[0], result="failed"),))
    assert finding(judge(failed, packs=packs), "OV-FC-ROAD", "result").outcome.reasons == ("session_failed",)
    assert finding(judge(failed), "OV-FC-ROAD", "done").outcome.reasons == ("session_failed",)


def test_findings_stand_in_pack_order_with_every_reason_in_print_order():
    result = judge(replace(unsigned_job(), lamp_records=(), statements=()))
    order = list(dict.fromkeys(item.procedure_id for item in result.findings))
    assert order == ["CP-EVERY", "CP-BOND", "OV-FC-ROAD"]
    every = packs_on_file().editions[0].procedure("CP-EVERY")
    assert every is not None
    listed = [item.proof_id for item in result.findings if item.procedure_id == "CP-EVERY"]
    assert listed == [item.id for item in every.proofs]
    assert result.findings[-1].proof_id == "order"
    assert all(code in REASON_ORDER for item in result.findings for code in item.outcome.reasons)
    assert all(item.citation and item.citation in item.outcome.sentence for item in result.findings)


# ------------------------------------------------------------------ editions


def test_a_session_is_judged_by_the_text_in_force_when_it_started():
    """Edition 8 comes into force on 15 June: a session of May stays under 7, the common record moves on."""
    facts = unsigned_job()
    result = assess(packs_on_file(), facts, as_of=at("2026-06-20 12:00"))
    camera = next(item for item in result.procedures if item.procedure_id == "OV-FC-ROAD")
    assert camera.edition == 7
    assert {(name, edition) for name, edition, _ in result.packs} == {
        ("common-practice", 3),
        ("orrinvale", 7),
        ("orrinvale", 8),
    }
    nothing_done = assess(packs_on_file(), replace(facts, sessions=()), as_of=at("2026-06-20 12:00"))
    camera = next(item for item in nothing_done.procedures if item.procedure_id == "OV-FC-ROAD")
    assert camera.edition == 8


@pytest.mark.parametrize(("start", "edition"), [("2026-06-14 23:59:59", 7), ("2026-06-15 00:00", 8)])
def test_an_edition_begins_at_local_midnight_of_the_place(start, edition):
    facts = unsigned_job()
    at_gate = editions_at(packs_on_file(), facts, at("2026-06-20 12:00"))[1]
    own = session("s", "OV-FC-ROAD", start, None)
    found, is_open = edition_for_session(packs_on_file(), facts, own, at_gate)
    assert (found.edition, is_open) == (edition, False)
    blurred = replace(own, started=loose(start, 60.0))
    assert edition_for_session(packs_on_file(), facts, blurred, at_gate)[1]


@pytest.mark.parametrize(("keeps", "edition"), [(False, 8), (True, 7)])
def test_the_plan_keeps_its_edition_only_where_the_pack_says_so(keeps, edition):
    packs = PackSet(
        editions=tuple(
            replace(item, keep_plan_edition=keeps) if item.edition == 7 else item
            for item in packs_on_file().editions
        )
    )
    found = editions_at(packs, unsigned_job(), at("2026-06-20 12:00"))
    assert [item.edition for item in found] == [3, edition]


def test_a_withdrawn_edition_no_longer_governs():
    packs = replace(packs_on_file(), withdrawn_on={("orrinvale", 7): date(2026, 5, 5)})
    facts = replace(unsigned_job(), fitted_ways=fitted("rear_camera", "steering_angle_sensor"))
    assert [item.pack for item in editions_at(packs, facts, at("11:50"))] == ["common-practice"]


def test_a_withdrawn_successor_does_not_bring_its_predecessor_back():
    packs = replace(packs_on_file(), withdrawn_on={("orrinvale", 8): date(2026, 6, 20)})
    facts = unsigned_job()
    before = [(item.pack, item.edition) for item in editions_at(packs, facts, at("2026-06-19 12:00"))]
    after = [(item.pack, item.edition) for item in editions_at(packs, facts, at("2026-06-20 12:00"))]
    assert before == [("common-practice", 3), ("orrinvale", 8)]
    assert after == [("common-practice", 3)]
