"""Devices and their clocks; API tokens."""

from datetime import timedelta
from typing import Any

import pytest

from jobs.access import actor_for_token
from jobs.errors import Conflict, NotAllowed, NotSignedIn, Refused
from jobs.models import ApiToken, ClockObservation, Device, Equipment, Job
from jobs.services import devices, tokens
from jobs.services.devices import ClockEntry, DeviceEntry, ScreenEntry
from tests.factories import second_organisation
from tests.jobs.shop import Shop, new_id


def exchange(shop: Shop, **fields: Any) -> ClockObservation:
    """The server's instant is 10:00:10; the device shows 62.48 s more and needs 0.24 s in all."""
    at = shop.at("10:00:10")
    given: dict[str, Any] = {
        "id": new_id(),
        "ticket": devices.issue_clock_ticket(as_of=at),
        "device_sent_at": (at + timedelta(seconds=62.24)).isoformat(),
        "device_received_at": (at + timedelta(seconds=62.48)).isoformat(),
    }
    as_of = fields.pop("as_of", at + timedelta(seconds=1))
    return devices.observe_clock(
        device=shop.tablet, actor=shop.actor("itolvaar"), as_of=as_of, entry=ClockEntry(**(given | fields))
    )


def test_an_exchange_brackets_the_offset(shop: Shop) -> None:
    """RFC 5905 gives 62.36 s with half the delay, 0.12 s, for these readings: the same interval."""
    seen = exchange(shop)
    assert (seen.offset_low_s, seen.offset_high_s) == pytest.approx((62.24, 62.48))
    assert seen.true_high - seen.true_low == timedelta(seconds=0.24)


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"ticket": "made up"}, "bad_ticket"),
        ({"device_received_at": "2026-05-05T10:00:00-05:00"}, "times_backwards"),
        ({"device_sent_at": "noon"}, "bad_instant"),
    ],
)
def test_faulty_exchanges(shop: Shop, fields: dict[str, Any], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        exchange(shop, **fields)
    assert refusal.value.code == code
    assert not ClockObservation.objects.exists()


@pytest.mark.parametrize(
    ("seconds", "code"), [(600, ""), (600.001, "ticket_expired"), (-0.001, "ticket_expired")]
)
def test_a_ticket_lives_ten_minutes(shop: Shop, seconds: float, code: str) -> None:
    as_of = shop.at("10:00:10") + timedelta(seconds=seconds)
    if not code:
        assert exchange(shop, as_of=as_of).pk
        return
    with pytest.raises(Refused) as refusal:
        exchange(shop, as_of=as_of)
    assert refusal.value.code == code


def test_a_token_speaks_for_its_own_device_only(shop: Shop) -> None:
    other = devices.enrol_device(
        actor=shop.actor("tachterly"),
        as_of=shop.at("09:00"),
        entry=DeviceEntry(id=new_id(), name="tablet-em-2", location="EM"),
    )
    _, text = issue(shop, device=other)
    with pytest.raises(Conflict) as conflict:
        devices.observe_clock(
            device=shop.tablet,
            actor=actor_for_token(text, as_of=shop.at("10:00")),
            as_of=shop.at("10:00:11"),
            entry=ClockEntry(
                id=new_id(),
                ticket=devices.issue_clock_ticket(as_of=shop.at("10:00:10")),
                device_sent_at=shop.text("10:00:10"),
                device_received_at=shop.text("10:00:10"),
            ),
        )
    assert conflict.value.code == "other_device"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"shows": "13:11"}, "bad_clock_text"),
        ({"shows": "2026-05-05T13:11:00Z"}, "bad_clock_text"),
        ({"seen_at": "noon"}, "bad_instant"),
        ({"device": new_id()}, "unknown_device"),
        ({"evidence": new_id()}, "unknown_reference"),
    ],
)
def test_faulty_readings_of_a_display(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    tool = Equipment.objects.get(tag="SD-011")
    Device(
        organisation=shop.organisation, name="SD-011 clock", equipment=tool, enrolled_at=shop.at("07:00")
    ).save()
    before = ClockObservation.objects.count()
    given: dict[str, Any] = {
        "id": new_id(),
        "shows": "2026-05-05T13:11",
        "seen_at": shop.text("14:06:20"),
        "device": shop.tablet.pk,
    }
    with pytest.raises(Refused) as refusal:
        devices.observe_screen(
            job=job, equipment=tool, actor=shop.actor("itolvaar"), as_of=shop.at("15:00"),
            entry=ScreenEntry(**(given | fields)),
        )  # fmt: skip
    assert refusal.value.code == code
    assert ClockObservation.objects.count() == before


def test_an_instrument_without_a_clock(shop: Shop, job: Job) -> None:
    with pytest.raises(Conflict) as conflict:
        devices.observe_screen(
            job=job, equipment=Equipment.objects.get(tag="PG-022"), actor=shop.actor("itolvaar"),
            as_of=shop.at("15:00"),
            entry=ScreenEntry(
                id=new_id(), shows="2026-05-05T13:11", seen_at=shop.text("14:06"), device=shop.tablet.pk
            ),
        )  # fmt: skip
    assert conflict.value.code == "no_clock"


def test_a_lost_device_stops_with_its_next_request(shop: Shop) -> None:
    _, text = issue(shop, device=shop.tablet)
    assert actor_for_token(text, as_of=shop.at("10:00")).device == shop.tablet
    with pytest.raises(NotAllowed):
        devices.revoke_device(device=shop.tablet, actor=shop.actor("itolvaar"), as_of=shop.at("10:01"))
    devices.revoke_device(device=shop.tablet, actor=shop.actor("tachterly"), as_of=shop.at("10:01"))
    with pytest.raises(NotSignedIn):
        actor_for_token(text, as_of=shop.at("10:02"))


def issue(shop: Shop, login: str = "tachterly", **fields: Any) -> tuple[ApiToken, str]:
    given: dict[str, Any] = {
        "person": shop.people["itolvaar"], "name": "Ines, tablet-em-1", "scopes": ("read", "record"),
        "location": None, "device": None, "expires_at": shop.at("09:00", days=90),
    } | fields  # fmt: skip
    return tokens.issue_token(actor=shop.actor(login), as_of=shop.at("09:00"), **given)


def test_a_token_is_shown_once_and_stored_as_a_hash(shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        issue(shop, "itolvaar")
    token, text = issue(shop)
    assert text.startswith("wm_")
    assert text not in str(vars(token))
    actor = actor_for_token(text, as_of=shop.at("10:00"))
    assert (actor.person.login, actor.scopes) == ("itolvaar", frozenset({"read", "record"}))
    tokens.revoke_token(token=token, actor=shop.actor("itolvaar"), as_of=shop.at("10:01"))
    with pytest.raises(NotSignedIn):
        actor_for_token(text, as_of=shop.at("10:02"))
    with pytest.raises(Conflict) as conflict:
        tokens.revoke_token(token=token, actor=shop.actor("itolvaar"), as_of=shop.at("10:03"))
    assert conflict.value.code == "already_revoked"


def test_colleagues_do_not_take_each_others_tokens_back(shop: Shop) -> None:
    token, _ = issue(shop)
    with pytest.raises(NotAllowed):
        tokens.revoke_token(token=token, actor=shop.actor("mondry"), as_of=shop.at("10:01"))
    assert tokens.revoke_token(token=token, actor=shop.actor("tachterly"), as_of=shop.at("10:01")).revoked_at


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"scopes": ()}, "list_empty"),
        ({"scopes": ("everything",)}, "bad_choice"),
        ({"name": ""}, "text_length"),
        ({"life": timedelta(0)}, "token_life"),
        ({"life": timedelta(days=90, seconds=1)}, "token_life"),
        ({"life": timedelta(seconds=1)}, ""),
        ({"life": timedelta(days=90)}, ""),
    ],
)
def test_what_a_token_may_be(shop: Shop, fields: dict[str, Any], code: str) -> None:
    if "life" in fields:
        fields = {"expires_at": shop.at("09:00") + fields["life"]}
    if not code:
        assert issue(shop, **fields)[1]
        return
    with pytest.raises(Refused) as refusal:
        issue(shop, **fields)
    assert refusal.value.code == code
    assert not ApiToken.objects.exists()


def test_nothing_of_another_organisation_gets_a_token(shop: Shop) -> None:
    other = second_organisation()
    for fields in ({"person": other["wstroud"]}, {"location": other["location"]}):
        with pytest.raises(NotAllowed) as refusal:
            issue(shop, **fields)
        assert refusal.value.code == "other_organisation"
    assert not ApiToken.objects.exists()


def test_enrolling(shop: Shop) -> None:
    entry = DeviceEntry(id=new_id(), name="tablet-em-3", location="EM")
    with pytest.raises(NotAllowed):
        devices.enrol_device(actor=shop.actor("itolvaar"), as_of=shop.at("09:00"), entry=entry)
    actor = shop.actor("tachterly")
    device = devices.enrol_device(actor=actor, as_of=shop.at("09:00"), entry=entry)
    assert devices.enrol_device(actor=actor, as_of=shop.at("09:01"), entry=entry).pk == device.pk
