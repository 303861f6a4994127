"""Packs are published with their exact bytes, by one and approved by another, never for the past."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.facts import pack_set
from jobs.models import AssessmentRun, Job, LogEntry, PackEditionOnFile
from jobs.services import pack_desk
from tests.jobs.shop import PACKS, Shop

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
        assert all({"line", "code", "message"} == set(fault) for fault in faults)
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
    assert withdraw(shop, publish(shop), severity="safety").withdrawn_on == shop.day
