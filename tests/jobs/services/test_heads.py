"""The daily head: made once a day over a log that was checked, with the organisation's own key."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import override_settings

from jobs.errors import Conflict
from jobs.ledger.heads import head_of
from jobs.ledger.tree import size_of
from jobs.ledger.verify import verify_organisation
from jobs.models import LogEntry, OutboxEntry, TreeHead
from jobs.selectors.heads import MAIL_HEAD, compare, last_failure, published_size
from jobs.services import heads
from jobs.services.signing_keys import make_demo_key
from jobs.signing.signer import SigningKeyUnavailable
from rules.seal.tree_head import head_fault
from tests.factories import PersonFactory, second_organisation
from tests.jobs.ledger import logs
from tests.jobs.shop import Shop
from tests.record_guards import without_guards


@pytest.fixture
def keyed(shop: Shop) -> Shop:
    make_demo_key(organisation=shop.organisation, as_of=shop.at("06:00"))
    return shop


def publish(shop: Shop, hhmm: str = "06:30", days: int = 0) -> TreeHead:
    made = heads.publish_head(organisation=shop.organisation, as_of=shop.at(hhmm, days=days))
    assert made is not None
    return made


def set_address(shop: Shop, login: str, address: str) -> None:
    person = shop.people[login]
    person.email = address
    person.save(update_fields=("email",))


def test_the_head_of_a_day_is_made_once_and_signed(keyed: Shop) -> None:
    logs.write(keyed.organisation, 4)
    size = size_of(keyed.organisation.pk)
    head = publish(keyed)
    assert (head.size, head.day, head.is_daily, head.is_demo) == (size, keyed.day, True, True)
    assert head_fault(head_of(head), bytes(head.signature), bytes(head.certificate)) == ""
    assert publish(keyed, "18:00") == head
    entry = LogEntry.objects.get(what="head.published")
    told = json.loads(entry.detail)
    assert entry.n == size + 1
    assert (told["size"], told["root"], told["day"]) == (size, head.root, keyed.day.isoformat())
    assert (entry.who, told["key_sha256"]) == ("log-heads", head.key_sha256)
    after = publish(keyed, days=1)
    assert (after.previous, after.size) == (head, size + 1)
    assert verify_organisation(keyed.organisation).is_whole
    assert published_size(keyed.organisation.pk) == size + 1


def test_the_day_is_the_organisations_own(keyed: Shop) -> None:
    logs.write(keyed.organisation)
    # 6 May in UTC, still 5 May in Chicago.
    assert publish(keyed, "23:30").day == keyed.day
    assert publish(keyed, "00:10", days=1).day == keyed.day + timedelta(days=1)


def test_an_empty_log_and_a_stranger(shop: Shop) -> None:
    other = second_organisation()["organisation"]
    assert heads.publish_head(organisation=other, as_of=shop.at("06:30")) is None
    assert published_size(other.pk) == 0


def test_without_a_key_the_head_is_unsigned_and_says_so(shop: Shop) -> None:
    logs.write(shop.organisation)
    head = publish(shop)
    assert (bytes(head.signature), head.key_sha256) == (b"", "")
    told = json.loads(LogEntry.objects.get(what="head.published").detail)
    assert told["signature_sha256"] == ""


def test_a_key_that_is_away_makes_no_unsigned_head(keyed: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    logs.write(keyed.organisation)

    def away(organisation: object) -> Any:
        raise SigningKeyUnavailable

    monkeypatch.setattr(heads, "signer_of", away)
    with pytest.raises(SigningKeyUnavailable):
        publish(keyed)
    assert not TreeHead.objects.exists()
    monkeypatch.undo()
    assert publish(keyed).signature


def test_no_head_over_a_broken_log(keyed: Shop) -> None:
    logs.write(keyed.organisation, 4)
    publish(keyed)
    size = size_of(keyed.organisation.pk)
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 2")
    with pytest.raises(Conflict) as refused:
        publish(keyed, days=1)
    assert (refused.value.code, refused.value.extra["fault"]) == ("log_not_whole", "hash")
    assert refused.value.extra["at_n"] == 2
    assert (TreeHead.objects.count(), size_of(keyed.organisation.pk)) == (1, size)


def test_each_location_manager_with_an_address_is_written_to_once(keyed: Shop) -> None:
    owner = keyed.organisation
    logs.write(owner)
    set_address(keyed, "tachterly", "tobin@achterly.example")
    set_address(keyed, "pvantongeren", "perla@vantongeren.example")  # no location manager
    PersonFactory.create(organisation=owner, login="no-address", roles=["location_manager"])
    gone = PersonFactory.create(
        organisation=owner, login="gone", roles=["location_manager"], email="gone@brackwater.example"
    )
    gone.is_active = False
    gone.save(update_fields=("is_active",))
    PersonFactory.create(
        organisation=owner, login="later", roles=["location_manager"], email="later@brackwater.example",
        active_from=keyed.day + timedelta(days=1),
    )  # fmt: skip
    other = second_organisation()
    other["wstroud"].email = "wenna@sallowfield.example"
    other["wstroud"].save(update_fields=("email",))
    head = publish(keyed)
    asked = OutboxEntry.objects.filter(task=MAIL_HEAD)
    assert [(row.arguments, row.organisation_id) for row in asked] == [
        ({"head": head.pk, "person": str(keyed.people["tachterly"].pk)}, owner.pk)
    ]
    told = json.loads(LogEntry.objects.get(what="head.published").detail)
    assert told["mailed_to"] == [str(keyed.people["tachterly"].pk)]
    assert "@" not in LogEntry.objects.get(what="head.published").detail
    publish(keyed, "12:00")
    assert asked.all().count() == 1
    publish(keyed, days=1)
    assert asked.all().count() == 3
    names = [person.login for person in heads.receivers_of(owner, keyed.day)]
    assert set(names) == {"tachterly", "no-address"}


@override_settings(WM_MAIL_IS_SET=False)
def test_without_a_mail_server_nobody_is_said_to_be_written_to(keyed: Shop) -> None:
    logs.write(keyed.organisation)
    set_address(keyed, "tachterly", "tobin@achterly.example")
    publish(keyed)
    assert not OutboxEntry.objects.filter(task=MAIL_HEAD).exists()
    assert json.loads(LogEntry.objects.get(what="head.published").detail)["mailed_to"] == []


def test_a_kept_head_is_compared_with_the_log_as_it_stands(keyed: Shop) -> None:
    owner = keyed.organisation
    logs.write(owner, 4)
    head = publish(keyed)
    logs.write(owner, 3)
    entries = size_of(owner.pk)
    same = compare(owner, size=head.size, root=head.root)
    assert (same.verdict, same.size, same.entries) == ("same", head.size, entries)
    assert compare(owner, size=head.size, root="0" * 64).verdict == "differs"
    assert compare(owner, size=head.size + 1, root=head.root).verdict == "differs"
    assert compare(owner, size=entries, root=head.root).verdict == "differs"
    assert compare(owner, size=entries + 1, root=head.root).verdict == "shorter"
    with without_guards():
        logs.execute("UPDATE jobs_logentry SET who = 'somebody' WHERE n = 2")
    assert compare(owner, size=head.size, root=head.root).verdict == "differs"


def test_why_the_head_of_a_day_is_missing(keyed: Shop) -> None:
    owner = keyed.organisation
    assert last_failure(owner, keyed.day) == ""
    for hour, error in (("06", "first"), ("07", "second"), ("08", "")):
        OutboxEntry.objects.create(
            organisation=owner, task="jobs.publish_head", key=f"{keyed.day}T{hour}",
            created_at=keyed.at("06:00"), last_error=error, state="dead" if error else "waiting",
        )  # fmt: skip
    assert last_failure(owner, keyed.day) == "second"
    assert last_failure(owner, keyed.day + timedelta(days=1)) == ""
