"""What pages make of a judgement: numbers and sentences, the band, order, the gate in words, cautions."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

import pytest

from portal.templatetags.marks import gate, mark, strip, verdict
from portal.templatetags.moments import fours, offset_words, short, stamp, zone
from portal.web import proof_rows, shaping, wording
from portal.web.job_page import page_of
from rules.checks.to_do import TO_DO, to_do
from rules.checks.unjudged import NO_SESSION
from rules.explain import readable
from rules.result import Assessment, Decision, ProcedureResult, ReadyTime, Requirement
from rules.verdict import REASON_ORDER, Finding, Number, Outcome
from rules.vocabulary import PHOTO_SUBJECTS
from rules.why import why_of

AT: Final = datetime(2026, 5, 5, 18, 30, tzinfo=UTC)
TZ: Final = "America/Chicago"
SPRING_FORWARD: Final = datetime(2026, 3, 8, 8, 30, tzinfo=UTC)


def finding(check: str, verdict_: Any = "not_shown", **changes: Any) -> Finding:
    outcome = Outcome(
        verdict=verdict_,
        reasons=() if verdict_ == "met" else ("missing",),
        sentence=changes.pop("sentence", "Something is asked for (common practice). The record shows it."),
        change=changes.pop("change", "" if verdict_ == "met" else "Do it."),
        settle=changes.pop("settle", "car_here"),
        numbers=changes.pop("numbers", ()),
        shows=changes.pop("shows", ""),
    )
    values: dict[str, Any] = {
        "procedure_id": "CP-EVERY",
        "proof_id": check,
        "title": "Record common to every job",
        "pack": "common-practice",
        "edition": 3,
        "citation": "common practice",
        "waivable": False,
    } | changes
    return Finding(check=check, outcome=outcome, **values)


def procedure(name: str = "CP-EVERY", **changes: Any) -> ProcedureResult:
    values: dict[str, Any] = {
        "title": "Record common to every job",
        "state": "required",
        "verdict": "not_shown",
        "accepted": False,
        "refused": False,
        "governing_session": None,
        "pack": "common-practice",
        "edition": 3,
    } | changes
    return ProcedureResult(procedure_id=name, **values)


def judgement(*findings: Finding, **changes: Any) -> Assessment:
    values: dict[str, Any] = {
        "requirements": (),
        "procedures": (procedure(),),
        "disposition": "hold",
        "left_against_hold": False,
        "held_because": (),
        "ready": None,
        "decisions": (),
    } | changes
    return Assessment(
        job_id="job",
        gate_at=AT,
        engine_version="1",
        facts_sha256="0" * 64,
        packs=(("common-practice", 3, "0" * 64),),
        statement="required",
        findings=findings,
        sign_offs=(),
        verdict="not_shown",
        **values,
    )


def required(**changes: Any) -> Requirement:
    values: dict[str, Any] = {
        "procedure_id": "OV-FC-ROAD",
        "title": "Forward camera",
        "state": "cannot_tell",
        "because": (),
        "reasons": ("fit_unknown",),
        "sensors": ("forward_camera",),
        "pack": "orrinvale",
        "edition": 7,
        "citation": "OV-SI-2114",
        "sentence": "Forward camera: cannot tell.",
    } | changes
    return Requirement(**values)


def ready(minutes_from_gate: int, **changes: Any) -> ReadyTime:
    at = AT + timedelta(minutes=minutes_from_gate)
    values: dict[str, Any] = {
        "ready_cautious": at,
        "ready_hopeful": at,
        "set_at": at - timedelta(minutes=60),
        "minutes": 60,
        "sentence": "Ready not before 13:55 on 2026-05-05: lowest 18.9 degC.",
        "passed": minutes_from_gate <= 0,
    } | changes
    return ReadyTime(**values)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("closed it at 2026-05-05 13:05.", "closed it at 5 May 2026, 13:05."),
        ("set 12:55 on 2026-05-05, lowest 19.2 degC", "set 12:55 on 5 May 2026, lowest 19.2 °C"),
        ("holds aim.dynamic on 2026-05-05.", "holds aim.dynamic on 5 May 2026."),
        ("OV-SI-2114, edition 2026-02, 4", "OV-SI-2114, edition 2026-02, 4"),
        ("serial 2026-13-45", "serial 2026-13-45"),
    ],
)
def test_sentences_of_the_rules_are_made_readable(text: str, words: str) -> None:
    assert readable(text) == words


def test_a_met_row_tells_what_it_rests_on_and_an_open_one_what_would_change_it() -> None:
    rows = proof_rows.rows_of(judgement(finding("fit_known", "met"), finding("signed", proof_id="sign")), {})
    assert [row.line for row in rows] == ["The record shows it.", "Do it."]
    assert [row.title for row in rows] == ["Fitted sensors known", "Technician's signature"]


def test_the_same_name_under_two_procedures_says_which() -> None:
    twice = (finding("in_order"), finding("in_order", procedure_id="OV-FC-ROAD", title="Forward camera"))
    rows = proof_rows.rows_of(judgement(*twice), {})
    assert [row.title for row in rows] == [
        "Order of events: record common to every job",
        "Order of events: forward camera",
    ]


def test_open_rows_come_in_the_order_of_what_can_still_be_done() -> None:
    rows = proof_rows.rows_of(
        judgement(
            finding("signed", proof_id="sign", settle="desk"),
            finding("adhesive_ready", "not_met", settle="never"),
            finding("scan_present", proof_id="final"),
            finding("tyre_pressures"),
            finding("photo_set", settle="now"),
            finding("document", waived_by="boss", proof_id="part"),
            finding("fit_known", "met"),
        ),
        {"boss": "Tobin Achterly"},
    )
    groups = shaping.open_groups(rows)
    assert [group.code for group in groups] == ["now", "car_here", "desk", "never", "decided"]
    assert [row.title for row in groups[1].rows] == ["Tire pressures", "Final scan"]
    assert groups[-1].rows[0].waived_by == "Tobin Achterly"
    nearest = shaping.next_action(groups)
    assert nearest is not None
    assert (nearest.title, nearest.when) == ("Photo set", "Next, while the set-up stands")


@pytest.mark.parametrize("settle", ["never"])
def test_there_is_no_next_thing_where_nothing_can_be_done(settle: str) -> None:
    rows = proof_rows.rows_of(judgement(finding("adhesive_ready", "not_met", settle=settle)), {})
    assert shaping.next_action(shaping.open_groups(rows)) is None


def test_a_proof_of_a_procedure_nobody_began_says_what_it_asks_for() -> None:
    waiting = [
        finding(
            check,
            procedure_id="OV-FC-ROAD",
            title="Forward camera",
            shows=NO_SESSION,
            change=to_do(check, "Forward camera"),
        )
        for check in ("tyre_pressures", "drive_log", "no_such_check")
    ]
    rows = proof_rows.rows_of(judgement(*waiting), {})
    assert rows[0].line.startswith("Read all four")
    assert "Nobody touches the device" in rows[1].line
    assert rows[2].line == "Carry out: Forward camera."
    items = shaping.column(rows)
    assert len(items) == 1
    assert "3 proofs do not exist" in items[0].sentence


@pytest.mark.parametrize(
    ("minutes", "headline", "passed"),
    [
        (25, "Do not drive before 13:55", False),
        (0, "Adhesive ready since 13:30", True),
        (-1, "Adhesive ready since 13:29", True),
        (12 * 60, "Do not drive before Wed 6 May, 01:30", False),
    ],
)
def test_the_band_names_the_time_and_another_day_with_its_date(
    minutes: int, headline: str, passed: bool
) -> None:
    band = shaping.band(judgement(ready=ready(minutes)), TZ)
    assert band is not None
    assert (band.headline, band.passed) == (headline, passed)
    assert ("Later if it gets colder or drier." in band.sentence) is not passed


def test_without_a_ready_time_the_band_forbids_driving() -> None:
    band = shaping.band(judgement(ready=ready(5, ready_cautious=None, minutes=None)), TZ)
    assert band is not None
    assert band.headline == "Do not drive: no ready time"
    assert not band.passed
    assert shaping.band(judgement(), TZ) is None


def test_the_band_tells_climate_only_where_it_is_of_one_pane() -> None:
    climate = (
        Number(name="lowest_temp", value=19.2, unit="degC"),
        Number(name="lowest_rh", value=53.0, unit="percent"),
    )
    one = shaping.band(judgement(finding("adhesive_ready", numbers=climate), ready=ready(25)), TZ)
    two = shaping.band(judgement(finding("adhesive_ready", numbers=climate * 2), ready=ready(25)), TZ)
    assert one is not None
    assert two is not None
    assert "Coldest 19.2 °C, driest 53 % so far: 60 min" in one.sentence
    assert "Ready not before 13:55 on 5 May 2026" in two.sentence


def test_packing_up() -> None:
    def answer(assessment: Assessment, judging: str = "done") -> str:
        groups = shaping.open_groups(proof_rows.rows_of(assessment, {}))
        return shaping.pack_up(assessment, groups, judging).answer

    begun = procedure("OV-FC-STILL", kind="static", governing_session="s1")
    at_risk = judgement(finding("photo_set", settle="now"), procedures=(begun,))
    assert answer(at_risk) == "Not yet."
    assert answer(at_risk, "running") == "Wait."
    assert answer(judgement(finding("scan_present"), procedures=(begun,))) == "The set-up may go."
    assert answer(judgement(procedures=(replace(begun, governing_session=None),))) == "Not yet."


def test_the_gate_in_words() -> None:
    def words(assessment: Assessment) -> str:
        return shaping.gate_sentence(assessment, proof_rows.rows_of(assessment, {}))

    held = judgement(finding("tyre_pressures"), finding("signed", proof_id="sign", settle="desk"))
    assert words(held) == (
        "2 proofs stand between this car and release: 1 with the car here, 1 from the desk."
    )
    unknown = judgement(requirements=(required(),))
    assert words(unknown) == "Of 1 procedure nobody can tell yet whether it is required."
    nothing = judgement(held_because=("No pack in force asks anything of this job.",))
    assert words(nothing) == "No pack in force asks anything of this job."
    left = replace(held, left_against_hold=True)
    assert "for ever" in words(left)
    assert shaping.gate_of(left) == "left_against_hold"
    assert shaping.gate_of(replace(left, disposition="release")) == "left_against_hold"
    assert shaping.gate_of(None) == "none"
    assert "stay as they are" in words(judgement(disposition="release_with_waiver"))


def test_a_decision_stands_beside_its_verdict_and_a_late_one_without_effect() -> None:
    late = Decision(
        decision_id="d",
        kind="waiver",
        procedure_id="CP-EVERY",
        proof_id="photo_set",
        effect=False,
        why_not="signed after the car left",
        person="boss",
        role="location_manager",
        at=AT,
    )
    shown = page_of(judgement(finding("photo_set"), decisions=(late,)), {"boss": "Tobin Achterly"}, TZ)
    assert shown["decisions"][0]["words"] == (
        "Photo set (CP-EVERY): waived by Tobin Achterly, location manager"
    )
    assert shown["decisions"][0]["effect"] is False
    assert [group.code for group in shown["groups"]] == ["car_here"]
    assert [line["code"] for line in shown["box"]] == ["not_met", "not_shown", "waived", "refused"]


def test_without_a_judgement_nothing_is_met() -> None:
    shown = page_of(None, {}, TZ)
    assert (shown["judged"], shown["gate"]) == (False, "none")
    assert "columns" not in shown


@pytest.mark.parametrize(
    ("kinds", "sensors", "bonded", "present", "absent"),
    [
        (("dynamic",), (), False, "Never test emergency braking", "isocyanates"),
        (("static",), (), False, "IEC 60825-1", "Never test emergency braking"),
        (("static_then_dynamic",), (), False, "Never test emergency braking", "isocyanates"),
        (("", ""), (), True, "Do not drive before the ready time", "Exhaust extraction"),
        (("static",), ("front_radar",), False, "nobody in the marked zone", "isocyanates"),
        (("initialise",), (), False, "exhaust extraction", "IEC 60825-1"),
    ],
)
def test_cautions_follow_the_kinds_of_the_required_work(
    kinds: tuple[str, ...], sensors: tuple[str, ...], bonded: bool, present: str, absent: str
) -> None:
    told = " ".join(wording.cautions_for(kinds, sensors, bonded_glass=bonded))
    assert present in told
    assert absent not in told
    for always in ("95 %", "Local codes and licensed practice prevail", "tell the pack author"):
        assert always in told


def test_photo_subjects_are_those_of_the_packs_asked_ones_first() -> None:
    assert {code for code, _ in wording.SUBJECTS} == set(PHOTO_SUBJECTS)
    listed = wording.subjects(asked={"dash_lamps_after"}, on_record={"plate"})
    assert listed[0][0] == "dash_lamps_after"
    assert listed[-1] == ("plate", "licence plate, on record already")
    assert shaping.photos_asked(
        judgement(finding("photo_set", change="Take a photo of dash lamps after."))
    ) == {"dash_lamps_after"}


def test_no_word_of_these_pages_says_that_a_car_is_in_order() -> None:
    told = [*wording.CAUTIONS, *wording.ROAD_CAUTIONS, *wording.GLASS_CAUTIONS, wording.ADHESIVE]
    told += [*TO_DO.values(), *(why_of((code,)) for code in REASON_ORDER), why_of(())]
    assert not [line for line in told if re.search(r"\b(safe|approved|passed|certified|ok)\b", line.lower())]


def test_marks_never_stand_without_their_word() -> None:
    assert "not shown</span>" in verdict("not_shown", "chip")
    assert 'aria-hidden="true"' in mark("met")
    assert "left against hold</span>" in gate("left_against_hold")
    told = strip(("met", "met", "not_met", "waived", "refused"))
    assert 'aria-label="2 met, 1 not met, 1 open and waived, 1 not met and refused"' in told
    assert 'aria-label="nothing judged"' in strip(())


def test_times_carry_their_zone() -> None:
    """29 Mar 2026 and 8 Mar 2026 are days of change in the IANA time zone database."""
    assert stamp(AT, TZ) == "Tue 5 May 2026, 13:30 CDT (UTC−5)"
    assert stamp(SPRING_FORWARD - timedelta(hours=1), TZ) == "Sun 8 Mar 2026, 01:30 CST (UTC−6)"
    assert stamp(SPRING_FORWARD, TZ) == "Sun 8 Mar 2026, 03:30 CDT (UTC−5)"
    assert short(AT, "America/Denver") == "Tue 5 May, 12:30 MDT"
    assert zone(AT, "Asia/Kolkata") == "IST (UTC+5:30)"
    assert offset_words(AT) == "UTC+0"
    assert stamp(None, TZ) == "not recorded"
    assert fours("0123456789ab") == "0123 4567 89ab"
