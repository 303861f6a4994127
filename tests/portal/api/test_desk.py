"""Clock, caller, instruments and packs as the API tells them."""

import uuid
from datetime import UTC, date, datetime, timedelta

import pytest

from jobs.models import Equipment, unscoped
from tests.portal.api.conftest import PACKS
from tests.portal.cast import Caller, Cast, Site
from tests.portal.intake import OpenJob

pytestmark = pytest.mark.django_db


def test_who_am_i(cast: Cast, technician: Caller) -> None:
    told = technician.get("me").json()
    assert (told["login"], told["roles"]) == ("ines-tolvaar", ["technician"])
    assert told["locations"] == [str(cast.eastmarch.location.pk)]
    assert told["device"] == str(cast.eastmarch.device.pk)
    manager = cast.caller("perla", "operations_manager", everywhere=True)
    assert manager.get("me").json()["locations"] is None


def test_a_device_clock_is_compared_with_ours(cast: Cast, technician: Caller, stranger: Caller) -> None:
    sent = datetime.now(tz=UTC) + timedelta(seconds=90)
    told = technician.get("clock").json()
    received = datetime.now(tz=UTC) + timedelta(seconds=90)
    body = {
        "id": str(uuid.uuid4()),
        "ticket": told["ticket"],
        "device_sent_at": sent.isoformat(),
        "device_received_at": received.isoformat(),
    }
    where = f"devices/{cast.eastmarch.device.pk}/clock-observations"
    assert stranger.post(where, body).codes == (404, "not_found")
    assert technician.post(where, body | {"ticket": "made up"}).codes == (422, "bad_ticket")
    swapped = body | {"device_sent_at": body["device_received_at"], "device_received_at": sent.isoformat()}
    assert technician.post(where, swapped).codes == (422, "times_backwards")
    kept = technician.post(where, body)
    assert kept.status == 201
    assert kept.json()["offset_low_s"] <= 90.0 <= kept.json()["offset_high_s"]


def _instrument(site: Site, tag: str, due_on: date | None) -> None:
    with unscoped():
        Equipment.objects.create(
            organisation=site.organisation,
            tag=tag,
            cls="tyre_gauge",
            home_location=site.location,
            in_service_from=date(2025, 1, 1),
            due_on=due_on,
        )


def test_instruments_and_what_falls_due(cast: Cast, technician: Caller, sibling: Caller) -> None:
    today = datetime.now(tz=UTC).date()
    _instrument(cast.eastmarch, "PG-022", today + timedelta(days=7))
    _instrument(cast.eastmarch, "PG-023", today + timedelta(days=8))
    _instrument(cast.eastmarch, "PG-024", today - timedelta(days=1))
    _instrument(cast.low_mill, "PG-025", today)
    _instrument(cast.sallow, "PG-026", today)

    def tags(caller: Caller, path: str) -> list[str]:
        return [row["tag"] for row in caller.get(path).json()["results"]]

    assert tags(technician, "equipment") == ["PG-022", "PG-023", "PG-024"]
    assert tags(technician, "equipment?cls=tape") == []
    assert tags(technician, "equipment/due?days=7") == ["PG-024", "PG-022"]
    assert tags(technician, "equipment/due?days=0") == ["PG-024"]
    assert tags(sibling, "equipment/due") == ["PG-025"]
    for wrong in ("-1", "3661", "ten", "1.5", "\u0663"):
        assert technician.get(f"equipment/due?days={wrong}").codes == (400, "bad_parameter")


def test_an_instruments_clock_is_read_from_its_display(
    cast: Cast, technician: Caller, stranger: Caller, job: OpenJob
) -> None:
    _instrument(cast.eastmarch, "VL-009", None)
    body = {
        "id": str(uuid.uuid4()),
        "tag": "VL-009",
        "shows": "2026-05-05T14:05",
        "seen_at": datetime.now(tz=UTC).isoformat(),
        "device": str(cast.eastmarch.device.pk),
    }
    where = f"{job.path}/screen-observations"
    assert stranger.post(where, body).codes == (404, "not_found")
    assert technician.post(where, body | {"tag": "VL-999"}).codes == (404, "not_found")
    assert technician.post(where, body).codes == (409, "no_clock")


def test_packs_and_their_exact_text(packs: None, technician: Caller, stranger: Caller) -> None:
    data = (PACKS / "common-practice.3.yaml").read_bytes()
    row = technician.get("packs").json()["results"][0]
    assert (row["pack"], row["edition"]) == ("common-practice", 3)
    text = technician.get("packs/common-practice/3/text", Accept="text/plain")
    assert text.body == data
    assert text.headers["ETag"] == f'"{row["sha256"]}"'
    assert stranger.get("packs").json()["results"] == []
    for path in ("packs/common-practice/3/text", "packs/common-practice/4/text", "packs/none/3/text"):
        assert stranger.get(path).codes == (404, "not_found")
