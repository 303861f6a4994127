"""Keys of people: drawn once, the same for all, one organisation's own, destroyed for ever."""

import pytest

from jobs.errors import Conflict
from jobs.ledger.verify import verify_organisation
from jobs.models import Job, LogEntry, PersonKey, scope
from jobs.packets.people import customer_subject, person_subject, subjects_of_path
from jobs.services.person_keys import KEY_BYTES, destroy, is_destroyed, keys_for
from rules.seal.entries import ORDER
from tests.factories import second_organisation
from tests.jobs.shop import Shop


def test_a_key_is_drawn_once_and_is_nobody_elses(shop: Shop, job: Job) -> None:
    mine, worker = customer_subject(str(job.pk)), person_subject(str(shop.people["itolvaar"].pk))
    first = keys_for(organisation=shop.organisation, subjects=[mine], as_of=shop.at("10:00"))
    both = keys_for(organisation=shop.organisation, subjects=[worker, mine, mine], as_of=shop.at("11:00"))
    assert set(both) == {mine, worker}
    assert both[mine] == first[mine] != both[worker]
    assert {len(key) for key in both.values()} == {KEY_BYTES}
    assert keys_for(organisation=shop.organisation, subjects=[], as_of=shop.at("11:00")) == {}
    other = second_organisation()["organisation"]
    theirs = keys_for(organisation=other, subjects=[mine], as_of=shop.at("10:00"))
    assert theirs[mine] != first[mine]
    destroy(organisation=other, subject=mine, as_of=shop.at("12:00"))
    assert not is_destroyed(organisation=shop.organisation, subject=mine)
    with scope(shop.organisation.pk):
        assert PersonKey.objects.filter(subject=mine).count() == 1


def test_two_workers_at_once_use_the_key_that_was_kept_first(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second drew too, before it could see the first one's row."""
    real = PersonKey.objects.bulk_create
    kept: dict[str, bytes] = {}

    def with_another(rows: object, **options: object) -> object:
        monkeypatch.undo()
        kept.update(keys_for(organisation=shop.organisation, subjects=["person/1"], as_of=shop.at("10:00")))
        return real(rows, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(PersonKey.objects, "bulk_create", with_another)
    late = keys_for(organisation=shop.organisation, subjects=["person/1"], as_of=shop.at("10:00"))
    assert late == kept
    assert PersonKey.objects.count() == 1


def test_destroyed_is_for_ever_also_before_there_was_a_key(shop: Shop, job: Job) -> None:
    used, unused, left = (customer_subject(text) for text in ("used", "unused", "left"))
    drawn = keys_for(organisation=shop.organisation, subjects=[used, left], as_of=shop.at("10:00"))
    manager = shop.actor("lveskel")
    assert destroy(organisation=shop.organisation, subject=used, as_of=shop.at("11:00"), actor=manager)
    assert destroy(organisation=shop.organisation, subject=unused, as_of=shop.at("11:00"))
    assert not destroy(organisation=shop.organisation, subject=used, as_of=shop.at("12:00"))
    for subject in (used, unused):
        assert is_destroyed(organisation=shop.organisation, subject=subject)
        with pytest.raises(Conflict) as caught:
            keys_for(organisation=shop.organisation, subjects=[left, subject], as_of=shop.at("13:00"))
        assert (caught.value.code, caught.value.extra["subjects"]) == ("person_key_destroyed", [subject])
    again = keys_for(organisation=shop.organisation, subjects=[left], as_of=shop.at("13:00"))
    assert again == {left: drawn[left]}
    rows = PersonKey.objects.filter(subject__in=(used, unused))
    assert {(row.key, row.destroyed_at) for row in rows} == {(None, shop.at("11:00"))}
    told = [
        (row.who, row.target) for row in LogEntry.objects.filter(what="person_key.destroyed").order_by("n")
    ]
    assert told == [("lveskel", used), ("privacy", unused)]
    assert verify_organisation(shop.organisation).is_whole


@pytest.mark.parametrize(
    ("path", "subject"),
    [
        ("order/customer_name", "customer/417"),
        ("order/plate", "customer/417"),
        ("facts/vehicle/vin", "customer/417"),
        ("facts/vehicle/make", ""),
        ("facts/people/7/name", "person/7"),
        (f"facts/people/{ORDER}", ""),
        ("facts/refusals/1", "customer/417"),
        (f"facts/refusals/{ORDER}", ""),
        ("facts/photos/1/place", "customer/417"),
        ("facts/tz", ""),
        ("files/evidence-0001.jpg", "customer/417"),
        ("files/facts.json", "customer/417"),
        ("packs/orrinvale.7.yaml", ""),
        ("production/1", "customer/417"),
    ],
)
def test_whose_data_an_entry_holds(path: str, subject: str) -> None:
    assert subjects_of_path(path, "417") == ((subject,) if subject else ())
