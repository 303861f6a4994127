"""Page 1 says everything that is open, always in the same four lines, and nothing kinder than the record."""

from dataclasses import replace
from typing import Any

import pytest
from django.utils.html import conditional_escape

from jobs.packets.pages.front import BOX_ORDER, LIMITS_TEXT, POINTS_ON_PAGE_1, front_view
from jobs.packets.pages.open_points import open_points
from jobs.packets.pages.page import packet_page
from jobs.packets.source import PacketSource
from rules.facts import Refusal, Waiver
from rules.verdict import BY_CASE_REASONS, NOT_MET_REASONS, NOT_SHOWN_REASONS
from rules.why import REASON_WORDS
from tests.jobs.packets.packet_case import (
    Store,
    context_of,
    finished,
    open_record,
    signed,
    source_of,
    with_files,
)
from tests.rules.builders import at, held, moment
from tests.rules.windshield_job import unsigned_job


def kinds(view: dict[str, Any]) -> dict[str, int]:
    return {line["kind"]: len(line["points"]) for line in view["box"]["lines"]}


def test_a_record_with_nothing_open_says_nothing_four_times(store: Store) -> None:
    view = front_view(context_of(finished(store)))
    assert [line["kind"] for line in view["box"]["lines"]] == list(BOX_ORDER)
    assert kinds(view) == dict.fromkeys(BOX_ORDER, 0)
    assert (view["box"]["whole"], view["box"]["gate"]) == ("met", "release")
    html = packet_page(context_of(finished(store))).html
    assert html.count("<td>Nothing.</td>") >= 4


def test_what_does_not_fit_is_counted_and_told_on_page_2(store: Store) -> None:
    context = context_of(open_record(store))
    view = front_view(context)
    points = open_points(context)
    assert len(points) > POINTS_ON_PAGE_1
    shown = sum(kinds(view).values())
    assert shown == POINTS_ON_PAGE_1
    assert view["more"] == len(points) - shown
    assert sum(len(line["points"]) for line in view["rest"]["lines"]) == view["more"]


def test_every_open_proof_is_a_point(store: Store) -> None:
    context = context_of(open_record(store))
    heads = " ".join(point.head for point in open_points(context))
    for finding in context.assessment.findings:
        assert (f"({finding.proof_id.replace('_', ' ')}), {finding.procedure_id}" in heads) == (
            finding.verdict != "met"
        )


def test_what_nobody_can_tell_is_not_shown(store: Store) -> None:
    points = open_points(context_of(open_record(store)))
    told = [point for point in points if "Cannot tell whether this was required" in point.text]
    assert told
    assert {point.kind for point in told} == {"not_shown"}


def waiver(**fields: Any) -> Waiver:
    base: dict[str, Any] = {
        **held("waiver-1", "11:30"),
        "procedure_id": "CP-EVERY",
        "proof_id": "photos",
        "granted_by": "tachterly",
        "role": "location_manager",
        "at": moment("11:30"),
        "reason": "Car came by tow after closing and left by tow.",
        "instead": "Tow sheet kept.",
    }
    return Waiver(**{**base, **fields})


def with_waiver(store: Store, made: Waiver, gate: str = "11:50") -> PacketSource:
    facts, files = with_files(unsigned_job(), store)
    facts = replace(facts, photos=facts.photos[:-1], waivers=(made,))
    return source_of(signed(facts), files[:-2] + files[-1:], at(gate))


def test_a_waived_proof_keeps_its_verdict_and_is_told_twice(store: Store) -> None:
    view = front_view(context_of(with_waiver(store, waiver())))
    assert kinds(view) == {"not_shown": 1, "waived": 1, "not_met": 0, "refused": 0}
    told = next(line["points"][0] for line in view["box"]["lines"] if line["kind"] == "waived")
    assert "Tobin Achterly" in told.head
    assert "stays not shown" in told.text
    assert (view["box"]["whole"], view["box"]["gate"]) == ("not shown", "release with waiver")


def test_a_late_note_is_no_waiver_on_page_1(store: Store) -> None:
    late = waiver(at=moment("12:10"), received_at=at("12:10"))
    view = front_view(context_of(with_waiver(store, late)))
    assert kinds(view)["waived"] == 0
    assert view["box"]["gate"] == "hold"
    html = packet_page(context_of(with_waiver(store, late))).html
    assert "Late note, no effect" in html


def test_a_refusal_without_effect_is_not_told_as_refused(store: Store) -> None:
    facts, files = with_files(unsigned_job(), store)
    refusal = Refusal(
        **held("refusal-1", "11:30"), procedure_id="OV-FC-ROAD", refused_by_name="R. Ashgrove",
        relation="owner", told_text_version="1", systems_named=("lane departure warning",),
        lamp_state="lit", at=moment("11:30"), witness="tachterly",
    )  # fmt: skip
    source = source_of(signed(replace(facts, refusals=(refusal,))), files, at("11:50"))
    assert kinds(front_view(context_of(source)))["refused"] == 0
    assert "Without effect" in packet_page(context_of(source)).html


def test_the_limits_text_says_what_the_packet_is_not() -> None:
    assert "does not certify that the vehicle or any of its systems is safe" in LIMITS_TEXT
    assert "at 95 %" in LIMITS_TEXT


def test_every_reason_code_has_words() -> None:
    assert set(REASON_WORDS) == {*NOT_MET_REASONS, *BY_CASE_REASONS, *NOT_SHOWN_REASONS}


def test_the_insurers_packet_withholds_the_owner(store: Store) -> None:
    html = packet_page(context_of(finished(store, kind="insurer"))).html
    assert "Ashgrove" not in html
    assert "BRK 417" not in html
    assert "withheld" in html
    assert "Ashgrove" in packet_page(context_of(finished(store))).html


def test_markup_in_a_record_stays_text(store: Store) -> None:
    source = finished(store)
    hostile = '<img src="http://outside.test/x"><script>alert(1)</script>'
    changed = replace(source, order=replace(source.order, payer=hostile))
    html = packet_page(context_of(changed)).html
    assert hostile not in html
    assert "&lt;script&gt;" in html


@pytest.mark.parametrize("word", ["passed", "approved", "certified", "OK"])
def test_no_word_praises_the_car(store: Store, word: str) -> None:
    html = packet_page(context_of(finished(store))).html
    assert f">{word}<" not in html
    assert f" {word} " not in html.replace(LIMITS_TEXT, "")


# ------------------------------------------------------------------ forty and more open points


def bare_record(store: Store) -> PacketSource:
    """A released car of which almost nothing was recorded: far more open points than page 1 can hold."""
    facts, files = with_files(unsigned_job(), store)
    facts = replace(
        facts, photos=(), files=(), readings=(), scans=(), lamp_records=(), statements=(), voltage_logs=(),
        drive_logs=(), climate_logs=(), function_checks=(), lookups=(), closings=(), identity_readings=(),
        fitted_ways=(), sign_offs=(),
    )  # fmt: skip
    del files
    source = source_of(facts, (), at("11:50"))
    # The same proofs under further ids, as a longer pack would ask for them.
    findings = tuple(
        replace(finding, proof_id=f"{finding.proof_id}_{number}")
        for number in range(3)
        for finding in source.assessment.findings
    )
    return replace(source, assessment=replace(source.assessment, findings=findings))


def test_any_number_of_open_points_is_told_in_full(store: Store) -> None:
    """Page 1 says how many more there are; page 2 holds every one of them, with the word it has."""
    context = context_of(bare_record(store))
    points = open_points(context)
    assert len(points) >= 40
    view = front_view(context)
    shown = sum(kinds(view).values())
    rest = sum(len(line["points"]) for line in view["rest"]["lines"])
    assert shown + rest == len(points)
    assert view["more"] == rest
    html = packet_page(context).html
    assert f"And {rest} more on page 2." in html
    first = html[: html.index("continued from page 1")]
    later = html[html.index("continued from page 1") :]
    for number, point in enumerate(points):
        text = conditional_escape(point.head)
        assert text in (first if number < shown else later[: later.index("</section>")])
