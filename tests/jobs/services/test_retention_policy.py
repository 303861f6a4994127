"""How long things are kept: every period to the day, what may be set, by whom, and that old rules stay."""

from datetime import date, timedelta
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from django.db import IntegrityError, transaction
from hypothesis import given
from hypothesis import strategies as st

from jobs.errors import NotAllowed, Refused
from jobs.models import LogEntry, RetentionRule
from jobs.services.retention_policy import KINDS, last_day, period_words, rules_of, set_rule
from tests.jobs.shop import Shop


@pytest.mark.parametrize(
    ("start", "amount", "unit", "last"),
    [
        (date(2026, 5, 5), 120, "months", date(2036, 5, 5)),
        (date(2024, 2, 29), 12, "months", date(2025, 2, 28)),
        (date(2024, 2, 29), 48, "months", date(2028, 2, 29)),
        (date(2026, 1, 31), 1, "months", date(2026, 2, 28)),
        (date(2026, 8, 31), 6, "months", date(2027, 2, 28)),
        (date(2026, 12, 31), 24, "months", date(2028, 12, 31)),
        (date(2026, 5, 5), 90, "days", date(2026, 8, 3)),
        (date(2027, 12, 3), 90, "days", date(2028, 3, 2)),
        (date(2026, 5, 5), 1, "days", date(2026, 5, 6)),
    ],
)
def test_the_last_day_that_a_thing_is_kept(start: date, amount: int, unit: str, last: date) -> None:
    assert last_day(start, amount, unit) == last


@given(st.dates(date(2000, 1, 1), date(2100, 1, 1)), st.integers(1, 600))
def test_months_are_those_of_another_library(start: date, months: int) -> None:
    """Reference: dateutil.relativedelta."""
    assert last_day(start, months, "months") == start + relativedelta(months=months)
    assert last_day(start, months, "days") - start == timedelta(days=months)


@pytest.mark.parametrize(
    ("amount", "unit", "words"),
    [
        (1, "months", "1 month"),
        (11, "months", "11 months"),
        (12, "months", "1 year"),
        (120, "months", "10 years"),
        (13, "months", "13 months"),
        (90, "days", "90 days"),
        (1, "days", "1 day"),
    ],
)
def test_periods_in_words(amount: int, unit: str, words: str) -> None:
    assert period_words(amount, unit) == words


def test_project_defaults_are_marked(shop: Shop) -> None:
    found = rules_of(shop.organisation)
    assert {name: (rule.amount, rule.unit) for name, rule in found.items()} == {
        "evidence_originals": (120, "months"), "photo_originals": (120, "months"),
        "drive_logs": (120, "months"), "derived_pictures": (24, "months"), "customer_data": (120, "months"),
        "packets": (120, "months"), "download_addresses": (90, "days"),
    }  # fmt: skip
    assert all(rule.is_default and "(project default)" in rule.words for rule in found.values())
    assert "log" not in found


def put(shop: Shop, kind: str, amount: int | None, login: str = "lveskel", **fields: Any) -> RetentionRule:
    given_: dict[str, Any] = {"reason": "Agreed with counsel on 4 May."} | fields
    return set_rule(actor=shop.actor(login), as_of=shop.at("12:00"), kind=kind, amount=amount, **given_)


@pytest.mark.parametrize(
    ("kind", "amount", "code"),
    [
        ("log", 120, "never_deleted"),
        ("gossip", 12, "bad_choice"),
        # Ten years are this organisation's own; nothing that a packet rests on goes sooner.
        ("evidence_originals", 119, "period_too_short"),
        ("evidence_originals", 120, ""),
        ("evidence_originals", 600, ""),
        ("evidence_originals", 601, "period_too_long"),
        ("evidence_originals", None, ""),
        ("packets", 119, "period_too_short"),
        ("packets", 120, ""),
        ("photo_originals", 11, "period_too_short"),
        ("photo_originals", 12, ""),
        ("drive_logs", 11, "period_too_short"),
        ("drive_logs", 12, ""),
        ("customer_data", 11, "period_too_short"),
        ("customer_data", 12, ""),
        ("derived_pictures", 0, "period_too_short"),
        ("derived_pictures", 1, ""),
        ("download_addresses", 0, "period_too_short"),
        ("download_addresses", 1, ""),
        ("download_addresses", 90, ""),
        ("download_addresses", 91, "period_too_long"),
        ("download_addresses", None, "period_too_long"),
    ],
)
def test_what_may_be_set(shop: Shop, kind: str, amount: int | None, code: str) -> None:
    if not code:
        put(shop, kind, amount)
        rule = rules_of(shop.organisation)[kind]
        assert (rule.amount, rule.unit, rule.set_by) == (amount, KINDS[kind].unit, "lveskel")
        assert LogEntry.objects.filter(what="retention.rule_set", who="lveskel").count() == 1
        return
    with pytest.raises(Refused) as caught:
        put(shop, kind, amount)
    assert caught.value.code == code
    assert not RetentionRule.objects.exists()


def test_who_may_set_it_and_why(shop: Shop) -> None:
    for login in ("itolvaar", "tachterly", "dpell"):
        with pytest.raises(NotAllowed) as caught:
            put(shop, "drive_logs", 24, login)
        assert caught.value.code == "role_missing"
    limited = shop.people["pvantongeren"]
    limited.all_locations = False
    limited.save()
    with pytest.raises(NotAllowed) as caught:
        put(shop, "drive_logs", 24, "pvantongeren")
    assert caught.value.code == "whole_organisation_only"
    with pytest.raises(Refused):
        put(shop, "drive_logs", 24, reason="Because.")
    assert put(shop, "drive_logs", 24).pk


def test_rules_are_replaced_and_never_changed(shop: Shop) -> None:
    first = put(shop, "drive_logs", 24)
    set_rule(
        actor=shop.actor("lveskel"), as_of=shop.at("13:00"), kind="drive_logs", amount=36,
        reason="Counsel asked for three years.",
    )  # fmt: skip
    assert rules_of(shop.organisation)["drive_logs"].amount == 36
    assert RetentionRule.objects.count() == 2
    kept = RetentionRule.objects.filter(pk=first.pk)
    for act in (lambda: kept.update(amount=1), kept.delete):
        with pytest.raises(IntegrityError), transaction.atomic():
            act()


def test_a_longer_policy_of_the_organisation_lengthens_older_rules(shop: Shop) -> None:
    put(shop, "packets", 120)
    shop.organisation.retention_years = 15
    shop.organisation.save()
    assert rules_of(shop.organisation)["packets"].amount == 180
    assert rules_of(shop.organisation)["evidence_originals"].amount == 180
