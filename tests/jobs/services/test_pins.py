"""PINs: wrong tries are counted, lock for a quarter of an hour, and stay counted."""

from datetime import timedelta

import pytest

from jobs.errors import Conflict, NotAllowed, Refused
from jobs.models import Job, Person, SignOff
from jobs.services import decision, pins
from tests.factories import PIN
from tests.jobs.shop import Shop, new_id


def try_pin(shop: Shop, pin: str, seconds: float = 0.0) -> str:
    """The code of the refusal, or empty."""
    as_of = shop.at("09:00") + timedelta(seconds=seconds)
    try:
        pins.check_pin(actor=shop.actor("itolvaar"), as_of=as_of, pin=pin)
    except NotAllowed as refusal:
        return refusal.code
    return ""


def test_five_wrong_tries_lock(shop: Shop) -> None:
    assert [try_pin(shop, "000000", n) for n in range(5)] == ["pin_wrong"] * 5
    assert try_pin(shop, PIN, 5) == "pin_locked"


@pytest.mark.parametrize(("seconds", "code"), [(4 + 900 - 1, "pin_locked"), (4 + 900, ""), (4 + 901, "")])
def test_the_lock_ends_after_a_quarter_of_an_hour(shop: Shop, seconds: float, code: str) -> None:
    for n in range(5):
        try_pin(shop, "000000", n)
    assert try_pin(shop, PIN, seconds) == code


def test_after_the_lock_counting_starts_anew(shop: Shop) -> None:
    for n in range(5):
        try_pin(shop, "000000", n)
    assert [try_pin(shop, "000000", 1000 + n) for n in range(4)] == ["pin_wrong"] * 4
    assert try_pin(shop, PIN, 1010) == ""


def test_a_right_pin_forgets_the_wrong_ones(shop: Shop) -> None:
    for _ in range(2):
        assert [try_pin(shop, "000000") for _ in range(4)] == ["pin_wrong"] * 4
        assert try_pin(shop, PIN) == ""


def test_the_tries_left_are_told(shop: Shop) -> None:
    left = []
    for _ in range(5):
        with pytest.raises(NotAllowed) as refusal:
            pins.check_pin(actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), pin="1")
        left.append(refusal.value.extra["tries_left"])
    assert left == [4, 3, 2, 1, 0]


@pytest.mark.django_db(transaction=True)
def test_a_wrong_pin_signs_nothing_and_stays_counted(shop: Shop, job: Job) -> None:
    entry = decision.SignOffEntry(id=new_id(), role="technician", pin="000000", statement_version="t-1")
    with pytest.raises(NotAllowed) as refusal:
        decision.sign(job=job, actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), entry=entry)
    assert refusal.value.code == "pin_wrong"
    assert not SignOff.objects.exists()
    assert Person.objects.get(login="itolvaar").pin_failures == 1


def test_somebody_without_a_pin(shop: Shop) -> None:
    Person.objects.filter(login="itolvaar").update(pin_hash="")
    with pytest.raises(Conflict) as conflict:
        pins.check_pin(actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), pin=PIN)
    assert conflict.value.code == "pin_not_set"


@pytest.mark.parametrize(
    ("pin", "code"),
    [
        ("12345", "pin_form"),
        ("1234567890123", "pin_form"),
        ("12345a", "pin_form"),
        ("٣٣٣٣٣٣", "pin_form"),
        ("111111", "pin_too_plain"),
        ("123456", "pin_too_plain"),
        ("987654", "pin_too_plain"),
        ("530918", ""),
        ("530918530918", ""),
    ],
)
def test_what_a_pin_may_be(shop: Shop, pin: str, code: str) -> None:
    if code:
        with pytest.raises(Refused) as refusal:
            pins.set_pin(actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), pin=pin)
        assert refusal.value.code == code
        assert try_pin(shop, PIN) == ""
        return
    pins.set_pin(actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), pin=pin)
    assert (try_pin(shop, pin), try_pin(shop, PIN)) == ("", "pin_wrong")


def test_a_manager_unlocks(shop: Shop) -> None:
    for _ in range(5):
        try_pin(shop, "000000")
    person = shop.people["itolvaar"]
    with pytest.raises(NotAllowed):
        pins.unlock_pin(actor=shop.actor("mondry"), as_of=shop.at("09:01"), person=person)
    pins.unlock_pin(actor=shop.actor("tachterly"), as_of=shop.at("09:01"), person=person)
    assert try_pin(shop, PIN, 60) == ""
