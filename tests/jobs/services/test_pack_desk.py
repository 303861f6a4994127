"""Packs are published with their exact bytes, by one and approved by another, never for the past."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import transaction

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import job_facts, pack_set, pack_set_at, pack_set_for
from jobs.models import AssessmentRun, Job, LogEntry, PackAcknowledgement, PackEditionOnFile
from jobs.services import pack_desk
from jobs.services.pack_review import difference_on, report_on
from rules.facts import Delivery, Moment
from tests.jobs.shop import PACKS, Shop
from tests.rules.builders import held

TEXT = (PACKS / "common-practice.3.yaml").read_bytes()


def publish(shop: Shop, data: bytes = TEXT, **fields: Any) -> PackEditionOnFile:
    given: dict[str, Any] = {
        "login": "pvantongeren", "as_of": datetime(2025, 12, 16, 18, tzinfo=UTC), "approved_by": "dpell",
    } | fields  # fmt: skip
    return pack_desk.publish_pack(
        actor=shop.actor(given["login"]),
        as_of=given["as_of"],
        data=data,
        approved_by=given["approved_by"],
    )


def later(edition: int, day: str, text: bytes = TEXT) -> bytes:
    """Common practice once more, as another edition from another day."""
    text = text.replace(b"edition: 3\n", f"edition: {edition}\n".encode(), 1)
    return text.replace(b'from: "2026-01-01"', f'from: "{day}"'.encode(), 1)


def draft(shop: Shop, data: bytes, *, login: str = "pvantongeren", hhmm: str = "12:00") -> PackEditionOnFile:
    return pack_desk.upload_draft(actor=shop.actor(login), as_of=shop.at(hhmm), data=data)


def approve(shop: Shop, row: PackEditionOnFile, login: str = "dpell", **fields: Any) -> PackEditionOnFile:
    given: dict[str, Any] = {"sha256": row.sha256, "as_of": shop.at("12:30")} | fields
    return pack_desk.approve(row=row, actor=shop.actor(login), **given)


def acknowledge(shop: Shop, row: PackEditionOnFile, *names: str) -> Any:
    return pack_desk.acknowledge(row=row, actor=shop.actor("dpell"), as_of=shop.at("12:10"), names=names)


def refused(act: Any, *arguments: Any, **fields: Any) -> str:
    with pytest.raises((Refused, NotAllowed, Conflict)) as refusal:
        act(*arguments, **fields)
    return refusal.value.code


def test_from_draft_to_published_and_superseded(shop: Shop) -> None:
    publish(shop)
    row = draft(shop, later(4, "2026-06-01"))
    assert (row.state, row.written_by, bytes(row.source)) == (
        "draft", shop.people["pvantongeren"], later(4, "2026-06-01"),
    )  # fmt: skip
    # A draft governs nothing.
    assert [item.edition for item in pack_set(shop.organisation).editions] == [3]
    report = report_on(row, as_of=shop.at("12:05"))
    assert (report.errors, report.may_be_approved) == ((), False)
    assert refused(approve, shop, row) == "warnings_open"
    assert refused(acknowledge, shop, row, "trigger:CP-T-BOND/true", "no such warning") == "unknown_warning"
    assert not PackAcknowledgement.objects.filter(edition_on_file=row).exists()
    (made,) = acknowledge(shop, row, *report.open_names)
    assert (made.name, made.by.login, made.at) == ("trigger:CP-T-BOND/true", "dpell", shop.at("12:10"))
    assert acknowledge(shop, row, *report.open_names) == ()
    assert refused(approve, shop, row, "pvantongeren") == "same_person"
    assert refused(approve, shop, row, "itolvaar") == "role_missing"
    assert refused(approve, shop, row, sha256="0" * 64) == "draft_changed"
    kept = approve(shop, row)
    assert (kept.state, kept.approved_by, kept.published_at) == (
        "published", shop.people["dpell"], shop.at("12:30"),
    )  # fmt: skip
    old = PackEditionOnFile.objects.get(edition=3)
    # The end stands beside the file: the file itself is as it was.
    assert (old.state, old.in_force_until, bytes(old.source)) == ("superseded", date(2026, 6, 1), TEXT)
    assert refused(approve, shop, row) == "not_a_draft"
    assert refused(acknowledge, shop, row, "trigger:CP-T-BOND/true") == "not_a_draft"
    said = list(
        LogEntry.objects.filter(target="pack/common-practice/4").order_by("n").values_list("what", flat=True)
    )
    assert said == ["pack.drafted", "pack.warnings_acknowledged", "pack.published"]


def test_another_text_of_a_draft_is_read_again(shop: Shop) -> None:
    publish(shop)
    row = draft(shop, later(4, "2026-06-01"))
    acknowledge(shop, row, *report_on(row, as_of=shop.at("12:05")).open_names)
    again = draft(shop, later(4, "2026-06-01"), login="lveskel")
    assert (again.pk, again.written_by) == (row.pk, shop.people["pvantongeren"])
    other = draft(shop, later(4, "2026-06-02"), login="lveskel")
    assert (other.pk, other.written_by) == (row.pk, shop.people["lveskel"])
    assert refused(approve, shop, row, "pvantongeren") == "draft_changed"
    # What was acknowledged for the first text is not acknowledged for the second.
    assert refused(approve, shop, other, "pvantongeren") == "warnings_open"
    acknowledge(shop, other, *report_on(other, as_of=shop.at("12:20")).open_names)
    assert refused(approve, shop, other, "lveskel") == "same_person"
    assert approve(shop, other, "pvantongeren").state == "published"


def test_a_draft_with_errors_is_kept_and_never_published(shop: Shop) -> None:
    text = TEXT.replace(
        b"expect: {required: [CP-EVERY], not_required: [CP-BOND, CP-LOOKUP]}",
        b"expect: {required: [CP-BOND], not_required: [CP-LOOKUP]}", 1,
    )  # fmt: skip
    row = draft(shop, later(4, "2026-06-01", text))
    report = report_on(row, as_of=shop.at("12:05"))
    assert [fault.code for fault in report.errors] == ["example_failed"]
    acknowledge(shop, row, *report.open_names)
    assert refused(approve, shop, row) == "pack_faulty"
    assert pack_set(shop.organisation).editions == ()


def test_numbers_and_days_only_go_up(shop: Shop) -> None:
    publish(shop)
    assert refused(draft, shop, later(3, "2026-06-01")) == "edition_exists"
    five = draft(shop, later(5, "2026-07-01"))
    four = draft(shop, later(4, "2026-06-01"))
    past = draft(shop, later(6, "2026-05-04"))
    for row in (four, five, past):
        acknowledge(shop, row, *report_on(row, as_of=shop.at("12:05")).open_names)
    assert refused(approve, shop, past) == "from_in_the_past"
    assert approve(shop, five).state == "published"
    # Written before, but approved after it: the pack already has a later edition.
    assert refused(approve, shop, four) == "edition_not_next"
    assert refused(draft, shop, later(4, "2026-06-02")) == "edition_not_next"
    before = draft(shop, later(7, "2026-06-30"))
    acknowledge(shop, before, *report_on(before, as_of=shop.at("12:05")).open_names)
    assert refused(approve, shop, before) == "from_before_the_last"
    assert refused(withdraw, shop, before) == "not_published"


def test_nothing_is_half_published(shop: Shop, job: Job, monkeypatch: pytest.MonkeyPatch) -> None:
    publish(shop)
    row = draft(shop, later(4, "2026-06-01"))
    acknowledge(shop, row, *report_on(row, as_of=shop.at("12:05")).open_names)

    def fail(**_fields: Any) -> None:
        raise RuntimeError("the queue is gone")

    monkeypatch.setattr(pack_desk.assessment_queue, "judge_soon", fail)
    with pytest.raises(RuntimeError, match="queue"), transaction.atomic():
        approve(shop, row)
    states = PackEditionOnFile.objects.order_by("edition").values_list("state", "in_force_until")
    assert list(states) == [("published", None), ("draft", None)]


def test_the_difference_to_the_edition_before(shop: Shop) -> None:
    row = publish(shop)
    assert difference_on(row) == (None, ())
    before, told = difference_on(draft(shop, later(4, "2026-06-01")))
    assert before == row
    assert [item.words for item in told] == [
        "Edition was 3, now 4.", "In force from 2026-06-01, was from 2026-01-01.",
    ]  # fmt: skip


def test_exact_bytes_are_kept(shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        publish(shop, login="dpell")
    row = publish(shop)
    assert (bytes(row.source), row.state, row.in_force_from) == (TEXT, "published", date(2026, 1, 1))
    (edition,) = pack_set(shop.organisation).editions
    assert (edition.pack, edition.edition, edition.sha256) == ("common-practice", 3, row.sha256)
    assert publish(shop).pk == row.pk
    assert LogEntry.objects.filter(what="pack.published").count() == 1


@pytest.mark.parametrize(
    ("approved_by", "code"),
    [("itolvaar", "unknown_reference"), ("nobody", "unknown_reference"), ("pvantongeren", "same_person")],
)
def test_a_second_person_approves(shop: Shop, approved_by: str, code: str) -> None:
    with pytest.raises((Refused, NotAllowed)) as refusal:
        publish(shop, approved_by=approved_by)
    assert refusal.value.code == code
    assert not PackEditionOnFile.objects.exists()


@pytest.mark.parametrize(
    ("as_of", "allowed"),
    [
        # 1 January 2026 begins at 06:00Z in Chicago, where the organisation counts its days.
        (datetime(2026, 1, 2, 5, 59, 59, tzinfo=UTC), True),
        (datetime(2026, 1, 2, 6, 0, tzinfo=UTC), False),
    ],
)
def test_an_edition_never_begins_in_the_past(shop: Shop, as_of: datetime, allowed: bool) -> None:
    if allowed:
        assert publish(shop, as_of=as_of).pk
        return
    with pytest.raises(Conflict) as conflict:
        publish(shop, as_of=as_of)
    assert conflict.value.code == "from_in_the_past"


def test_the_same_edition_with_another_text(shop: Shop) -> None:
    publish(shop)
    with pytest.raises(Conflict) as conflict:
        publish(shop, TEXT + b"\n# changed\n")
    assert conflict.value.code == "edition_exists"


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "pack_faulty"),
        (b"\xff\xfe", "pack_faulty"),
        (TEXT + b"\npack: again\n", "pack_faulty"),
        (TEXT.replace(b"check: scan_present", b"check: tea_leaves", 1), "pack_faulty"),
        (TEXT.replace(b"expect: {required: [CP-EVERY], not_required: [CP-BOND, CP-LOOKUP]}",
                      b"expect: {required: [CP-BOND], not_required: [CP-LOOKUP]}", 1), "pack_faulty"),
        (b"#" * 2_000_001, "pack_too_large"),
    ],
)  # fmt: skip
def test_faulty_packs_are_refused_with_their_faults(shop: Shop, data: bytes, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        publish(shop, data)
    assert refusal.value.code == code
    if code == "pack_faulty":
        faults: Any = refusal.value.extra["faults"]
        assert all({"line", "code", "message", "expected", "found"} == set(fault) for fault in faults)
        assert faults
    assert not PackEditionOnFile.objects.exists()


def test_a_new_edition_ends_the_one_before_and_open_jobs_are_judged_anew(shop: Shop, job: Job) -> None:
    publish(shop)
    AssessmentRun.objects.update(state="dead")
    shop.publish_later("orrinvale.7.yaml")
    assert AssessmentRun.objects.filter(job=job, state="waiting").count() == 1
    publish(shop, (PACKS / "orrinvale.8.yaml").read_bytes(), as_of=datetime(2026, 6, 11, 18, tzinfo=UTC))
    seven = PackEditionOnFile.objects.get(pack="orrinvale", edition=7)
    eight = PackEditionOnFile.objects.get(pack="orrinvale", edition=8)
    assert (seven.state, seven.in_force_until) == ("superseded", eight.in_force_from)
    held = pack_set(shop.organisation)
    assert [item.edition for item in held.in_force(seven.in_force_from) if item.pack == "orrinvale"] == [7]
    assert [item.edition for item in held.in_force(eight.in_force_from) if item.pack == "orrinvale"] == [8]


def withdraw(shop: Shop, row: PackEditionOnFile, **fields: Any) -> PackEditionOnFile:
    given: dict[str, Any] = {
        "on": date(2026, 6, 1),
        "reason": "The maker took its text back",
        "severity": "caution",
    }
    return pack_desk.withdraw_pack(
        row=row, actor=shop.actor("lveskel"), as_of=shop.at("12:00"), **(given | fields)
    )  # fmt: skip


def test_a_withdrawal(shop: Shop) -> None:
    row = publish(shop)
    for fields, code in (
        ({"on": date(2026, 5, 4)}, "from_in_the_past"),
        ({"severity": "grave"}, "bad_choice"),
    ):
        with pytest.raises((Conflict, Refused)) as refusal:
            withdraw(shop, row, **fields)
        assert refusal.value.code == code
    withdrawn = withdraw(shop, row)
    assert (withdrawn.state, withdrawn.withdrawn_on) == ("withdrawn", date(2026, 6, 1))
    held = pack_set(shop.organisation)
    assert [item.pack for item in held.in_force(date(2026, 5, 31))] == ["common-practice"]
    assert held.in_force(date(2026, 6, 1)) == ()
    with pytest.raises(Conflict) as conflict:
        withdraw(shop, row)
    assert conflict.value.code == "already_withdrawn"


def test_a_safety_withdrawal_takes_effect_today(shop: Shop) -> None:
    row = withdraw(shop, publish(shop), severity="safety")
    assert (row.withdrawn_on, row.withdrawn_at) == (shop.day, shop.at("12:00"))
    assert pack_set_at(shop.organisation, shop.at("11:59")).withdrawn_on == {}
    assert pack_set_at(shop.organisation, shop.at("12:00")).withdrawn_on == {("common-practice", 3): shop.day}


@pytest.mark.parametrize(("left", "known", "judged_by_it"), [
    ("11:50", None, True), ("12:10", None, False), ("12:10", "11:59", True), (None, None, False),
    (None, "11:59", True),
])  # fmt: skip
def test_a_car_that_has_left_is_judged_by_the_texts_it_left_under(
    shop: Shop, job: Job, left: str | None, known: str | None, judged_by_it: bool
) -> None:
    withdraw(shop, publish(shop), severity="safety")
    facts = job_facts(job=job, as_of=shop.at("13:00"))
    if left is not None:
        at = shop.at(left)
        facts = replace(facts, delivery=Delivery(**held("delivery", at), at=Moment.exact(at)))
    packs = pack_set_for(
        shop.organisation, facts, shop.at("13:00"), known_at=shop.at(known) if known is not None else None
    )
    assert (packs.withdrawn_on == {}) is judged_by_it
