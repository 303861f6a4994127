"""Packets granted to people outside, downloads counted and logged, access taken back."""

import secrets
from datetime import timedelta
from typing import Any

import pytest

from jobs.access import actor_for_person
from jobs.errors import Conflict, Gone, NotAllowed, NotFound, Refused
from jobs.models import AccessGrant, Job, LogEntry, Packet, PacketDownload
from jobs.services import downloads, sharing
from jobs.services.downloads import Caller, Given
from jobs.services.sharing import GrantEntry
from tests.factories import OrganisationFactory, PersonFactory, second_organisation
from tests.jobs.shop import Shop, new_id


@pytest.fixture
def packet(shop: Shop, job: Job) -> Packet:
    return Packet.objects.create(
        organisation=shop.organisation, job=job, serial="EM-2026-0417/P1", number=1, kind="full",
        state="sealed", requested_at=shop.at("12:00"), as_of=shop.at("12:00"),
        salt_key=secrets.token_bytes(32), built_at=shop.at("12:01"), pdf_sha256="a" * 64, pdf_bytes=10,
    )  # fmt: skip


@pytest.fixture
def joris(shop: Shop) -> Any:
    insurer = OrganisationFactory.create(name="Harrowmere Mutual", kind="insurer")
    return PersonFactory.create(organisation=insurer, login="jquell", name="Joris Quell", roles=["auditor"])


def grant(shop: Shop, packet: Packet, login: str = "tachterly", **fields: Any) -> AccessGrant:
    given: dict[str, Any] = {
        "id": new_id(), "to_person": "JQuell", "purpose": "insurer_audit",
        "until": shop.text("12:00", days=90),
    } | fields  # fmt: skip
    return sharing.grant_access(
        packet=packet, actor=shop.actor(login), as_of=shop.at("12:00"), entry=GrantEntry(**given)
    )


def test_managers_grant(shop: Shop, packet: Packet, joris: Any) -> None:
    with pytest.raises(NotAllowed):
        grant(shop, packet, "itolvaar")
    made = grant(shop, packet, sections=("procedures", "procedures", "evidence"))
    assert (made.to_person, made.sections) == (joris, ["procedures", "evidence"])
    assert grant(shop, packet, id=made.pk).pk == made.pk
    with pytest.raises(Conflict) as conflict:
        grant(shop, packet, id=made.pk, until=shop.text("12:00", days=10))
    assert conflict.value.code == "id_in_use"


@pytest.mark.parametrize(
    ("purpose", "seconds", "code"),
    [
        ("insurer_audit", 90 * 86_400, ""),
        ("insurer_audit", 90 * 86_400 + 1, "grant_too_long"),
        ("discovery", 400 * 86_400, ""),
        ("insurer_audit", 0, "until_in_the_past"),
        ("insurer_audit", 1, ""),
        ("curiosity", 3600, "bad_choice"),
    ],
)
@pytest.mark.usefixtures("joris")
def test_how_long(shop: Shop, packet: Packet, purpose: str, seconds: int, code: str) -> None:
    until = (shop.at("12:00") + timedelta(seconds=seconds)).isoformat()
    if not code:
        assert grant(shop, packet, purpose=purpose, until=until).pk
        return
    with pytest.raises(Refused) as refusal:
        grant(shop, packet, purpose=purpose, until=until)
    assert refusal.value.code == code
    assert not AccessGrant.objects.exists()


def test_other_businesses_staff_look_like_nobody(shop: Shop, packet: Packet) -> None:
    second_organisation()
    for login in ("wstroud", "nobody"):
        with pytest.raises(Refused) as refusal:
            grant(shop, packet, to_person=login)
        assert refusal.value.code == "unknown_reference"


@pytest.mark.usefixtures("joris")
def test_what_is_not_sealed_is_not_shown(shop: Shop, job: Job) -> None:
    waiting = Packet.objects.create(
        organisation=shop.organisation, job=job, serial="EM-2026-0417/P2", number=2, kind="full",
        requested_at=shop.at("12:00"), as_of=shop.at("12:00"), salt_key=secrets.token_bytes(32),
    )  # fmt: skip
    with pytest.raises(Conflict) as conflict:
        grant(shop, waiting)
    assert conflict.value.code == "packet_not_sealed"


def download(shop: Shop, packet: Packet, made: AccessGrant | None, person: Any, hhmm: str = "13:00") -> Any:
    return downloads.note_download(
        packet=packet,
        actor=actor_for_person(person, as_of=shop.at(hhmm)),
        as_of=shop.at(hhmm),
        grant=made,
        given=Given(sha256="b" * 64, size_bytes=11),
        caller=Caller(ip="203.0.113.9", user_agent="Reader 1", request_id="r-1"),
    )


def test_downloads_are_counted_up_to_the_last(shop: Shop, packet: Packet, joris: Any) -> None:
    made = grant(shop, packet, max_downloads=2)
    for _ in range(2):
        download(shop, packet, made, joris)
    with pytest.raises(Gone) as gone:
        download(shop, packet, made, joris)
    assert gone.value.code == "grant_over"
    assert PacketDownload.objects.count() == 2
    entries = LogEntry.objects.filter(what="packet.downloaded")
    assert {(entry.who, entry.organisation_id) for entry in entries} == {("jquell", shop.organisation.pk)}


def test_a_grant_is_for_one_person_until_its_end(shop: Shop, packet: Packet, joris: Any) -> None:
    made = grant(shop, packet, until=shop.text("13:00"))
    with pytest.raises(Gone):
        download(shop, packet, made, shop.people["mondry"], "12:30")
    download(shop, packet, made, joris, "12:59:59")
    with pytest.raises(Gone):
        download(shop, packet, made, joris, "13:00")


def test_taking_access_back(shop: Shop, packet: Packet, joris: Any) -> None:
    made = grant(shop, packet)
    with pytest.raises(NotAllowed):
        sharing.revoke_grant(grant=made, actor=shop.actor("itolvaar"), as_of=shop.at("12:30"))
    sharing.revoke_grant(grant=made, actor=shop.actor("tachterly"), as_of=shop.at("12:30"))
    with pytest.raises(Gone):
        download(shop, packet, made, joris)
    with pytest.raises(Conflict) as conflict:
        sharing.revoke_grant(grant=made, actor=shop.actor("tachterly"), as_of=shop.at("12:31"))
    assert conflict.value.code == "already_revoked"


def test_without_a_grant_only_the_own_packet(shop: Shop, packet: Packet, joris: Any) -> None:
    with pytest.raises(NotFound):
        download(shop, packet, None, joris)
    assert download(shop, packet, None, shop.people["tachterly"]).grant is None
