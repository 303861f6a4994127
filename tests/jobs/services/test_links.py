"""Links: tokens, what they open and until which second, pass phrases, misses, ends chosen beforehand."""

import base64
import re
import secrets
from collections import Counter
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from scipy.stats import chi2

from jobs import link_access
from jobs.access import actor_for_person
from jobs.errors import Conflict, Gone, NotAllowed, NotFound, Refused
from jobs.link_access import grant_through, grants_through, link_of, new_link_text
from jobs.models import AccessGrant, Evidence, Job, LogEntry, Packet, PacketDownload, Person, ShareLink
from jobs.services import downloads, link_guard, passphrases, sharing, sharing_ends
from jobs.services.downloads import Caller, Given
from jobs.services.sharing import GrantEntry, LinkEntry
from tests.factories import second_organisation
from tests.jobs.rows import evidence
from tests.jobs.shop import Shop, new_id

PHRASE = "three brass gauges"


def sealed(shop: Shop, job: Job, number: int = 1, **fields: Any) -> Packet:
    given: dict[str, Any] = {
        "organisation": shop.organisation, "job": job, "serial": f"{job.number}/P{number}", "number": number,
        "kind": "full", "state": "sealed", "requested_at": shop.at("12:00"), "as_of": shop.at("12:00"),
        "salt_key": secrets.token_bytes(32), "built_at": shop.at("12:01"), "pdf_sha256": "a" * 64,
        "pdf_bytes": 10,
    } | fields  # fmt: skip
    return Packet.objects.create(**given)


@pytest.fixture
def packet(shop: Shop, job: Job) -> Packet:
    return sealed(shop, job)


def share(shop: Shop, *packets: Packet, login: str = "tachterly", **fields: Any) -> tuple[ShareLink, str]:
    given: dict[str, Any] = {
        "id": new_id(), "to_name": "Joris Quell", "to_company": "Harrowmere Mutual",
        "purpose": "insurer_audit",
    } | fields  # fmt: skip
    return sharing.share_by_link(
        packets=packets, actor=shop.actor(login), as_of=shop.at("12:00"), entry=LinkEntry(**given)
    )


def opens(text: str, at: Any) -> bool:
    try:
        link_of(text, as_of=at)
    except NotFound:
        return False
    return True


# ------------------------------------------------------------------ tokens


def test_a_hundred_thousand_tokens_are_all_different_and_even() -> None:
    tokens = [new_link_text() for _ in range(100_000)]
    assert len(set(tokens)) == len(tokens)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", token) for token in tokens)
    raw = [base64.urlsafe_b64decode(token + "=") for token in tokens]
    assert {len(data) for data in raw} == {32}
    # Chi-square of the byte values, 255 degrees of freedom; fails once in ten million honest runs.
    counts = Counter(b"".join(raw))
    expected = len(tokens) * 32 / 256
    statistic = sum((counts[value] - expected) ** 2 / expected for value in range(256))
    assert chi2.isf(1 - 1e-7, 255) < statistic < chi2.isf(1e-7, 255)
    # Each of the 256 bits is set about half of the time: six standard deviations.
    for place in range(32):
        for bit in range(8):
            ones = sum(data[place] >> bit & 1 for data in raw)
            assert abs(ones - 50_000) < 6 * 158.2


def test_a_dump_of_the_database_holds_no_usable_token(shop: Shop, packet: Packet) -> None:
    _, text = share(shop, packet, passphrase=PHRASE)
    with connection.cursor() as cursor:
        tables = [name for name in connection.introspection.table_names(cursor) if name.startswith("jobs_")]
        dump = ""
        for table in tables:
            cursor.execute(f"SELECT * FROM {table}")  # noqa: S608 - names come from the database itself
            dump += repr(cursor.fetchall())
    assert "tachterly" in dump
    for secret in (text, text[:20], base64.urlsafe_b64decode(text + "=").hex(), PHRASE):
        assert secret not in dump
    stored = ShareLink.objects.get()
    assert stored.token_sha256 in dump
    assert not opens(stored.token_sha256, shop.at("12:00"))


def test_the_token_is_found_by_one_query_whatever_it_is(
    shop: Shop, packet: Packet, django_assert_num_queries: Any
) -> None:
    _, good = share(shop, packet)
    over, run_out = share(shop, packet, until=shop.text("12:10"))
    back, revoked = share(shop, packet)
    sharing.revoke_link(link=back, actor=shop.actor("tachterly"), as_of=shop.at("12:05"))
    for text in (good, run_out, revoked, new_link_text(), "x", "", "é" * 43):
        with django_assert_num_queries(1):
            assert opens(text, shop.at("12:30")) == (text == good)
    assert over.until == shop.at("12:10")


# ------------------------------------------------------------------ life and scope


def test_who_may_share_and_what(shop: Shop, packet: Packet, job: Job) -> None:
    with pytest.raises(NotAllowed):
        share(shop, packet, login="itolvaar")
    link, text = share(shop, packet, packet)
    assert link.recipient == "link for Joris Quell at Harrowmere Mutual"
    assert [grant.packet for grant in grants_through(link, as_of=shop.at("12:00"))] == [packet]
    assert opens(text, shop.at("12:00"))
    waiting = sealed(shop, job, 2, state="waiting", pdf_sha256="", built_at=None)
    for packets, code in (((waiting,), "packet_not_sealed"), ((), "list_empty")):
        with pytest.raises((Conflict, Refused)) as refusal:
            share(shop, *packets)
        assert refusal.value.code == code
    with pytest.raises(Conflict) as conflict:
        share(shop, packet, id=link.pk)
    assert conflict.value.code == "link_made_before"
    assert ShareLink.objects.count() == AccessGrant.objects.count() == 1


def test_what_was_granted_is_not_the_receivers_to_pass_on(shop: Shop, packet: Packet) -> None:
    actor = actor_for_person(second_organisation()["wstroud"], as_of=shop.at("12:00"))
    assert actor.has_role("location_manager")
    entry = {"id": new_id(), "purpose": "internal"}
    with pytest.raises(NotFound):
        sharing.grant_access(
            packet=packet, actor=actor, as_of=shop.at("12:00"), entry=GrantEntry(to_person="wstroud", **entry)
        )
    with pytest.raises(NotFound):
        sharing.share_by_link(
            packets=(packet,), actor=actor, as_of=shop.at("12:00"),
            entry=LinkEntry(to_name="A", to_company="B", **entry),
        )  # fmt: skip
    assert not AccessGrant.objects.exists()


@pytest.mark.parametrize(
    ("purpose", "seconds", "code"),
    [
        ("insurer_audit", 90 * 86_400, ""),
        ("insurer_audit", 90 * 86_400 + 1, "grant_too_long"),
        ("discovery", 400 * 86_400, ""),
        ("insurer_audit", 0, "until_in_the_past"),
    ],
)
def test_how_long(shop: Shop, packet: Packet, purpose: str, seconds: int, code: str) -> None:
    until = (shop.at("12:00") + timedelta(seconds=seconds)).isoformat()
    if code:
        with pytest.raises(Refused) as refusal:
            share(shop, packet, purpose=purpose, until=until)
        assert refusal.value.code == code
        return
    link, _ = share(shop, packet, purpose=purpose, until=until)
    assert link.until == shop.at("12:00") + timedelta(seconds=seconds)


def test_it_ends_to_the_second_and_after_two_weeks_if_nothing_is_said(shop: Shop, packet: Packet) -> None:
    _, text = share(shop, packet)
    end = shop.at("12:00") + timedelta(days=14)
    for seconds, holds in ((-1, True), (0, False), (1, False)):
        assert opens(text, end + timedelta(seconds=seconds)) is holds
    assert opens(text, end - timedelta(microseconds=1))
    assert not opens(text, shop.at("12:00") - timedelta(seconds=1))


def test_a_link_opens_its_own_packets_and_no_other(shop: Shop, packet: Packet, job: Job) -> None:
    second, third = sealed(shop, job, 2), sealed(shop, job, 3)
    link, _ = share(shop, packet, second)
    assert {grant.packet for grant in grants_through(link, as_of=shop.at("12:00"))} == {packet, second}
    with pytest.raises(NotFound):
        grant_through(link, third.pk, as_of=shop.at("12:00"))
    sharing.revoke_grant(
        grant=grant_through(link, second.pk, as_of=shop.at("12:00")), actor=shop.actor("tachterly"),
        as_of=shop.at("12:05"),
    )  # fmt: skip
    assert [grant.packet for grant in grants_through(link, as_of=shop.at("12:06"))] == [packet]


def test_taking_back_is_at_once_and_for_all_its_packets(shop: Shop, packet: Packet, job: Job) -> None:
    link, text = share(shop, packet, sealed(shop, job, 2))
    with pytest.raises(NotAllowed):
        sharing.revoke_link(link=link, actor=shop.actor("itolvaar"), as_of=shop.at("12:10"))
    assert opens(text, shop.at("12:10"))
    sharing.revoke_link(link=link, actor=shop.actor("tachterly"), as_of=shop.at("12:10"))
    assert not opens(text, shop.at("12:10"))
    assert AccessGrant.objects.filter(revoked_why="asked").count() == 2
    with pytest.raises(Conflict) as conflict:
        sharing.revoke_link(link=link, actor=shop.actor("tachterly"), as_of=shop.at("12:11"))
    assert conflict.value.code == "already_revoked"


# ------------------------------------------------------------------ ends chosen beforehand


def _supersede(shop: Shop, packet: Packet) -> None:
    sealed(shop, packet.job, 2, supersedes=packet)


def _leave(shop: Shop, packet: Packet) -> None:
    Person.objects.filter(login="tachterly").update(is_active=False)


def _flag(shop: Shop, packet: Packet) -> None:
    file = evidence(packet.job, shop.people["itolvaar"])
    Evidence.objects.filter(pk=file.pk).update(
        ended_at=shop.at("12:02"),
        ended_how="set_aside",
        ended_reason="Shows another car.",
        ended_by=shop.people["mondry"],
    )


@pytest.mark.parametrize(
    ("choice", "happens", "why"),
    [
        ("superseded", _supersede, "superseded"),
        ("sharer_leaves", _leave, "sharer_left"),
        ("evidence_flagged", _flag, "evidence_flagged"),
    ],
)
def test_it_ends_when_its_giver_chose(
    shop: Shop, packet: Packet, choice: str, happens: Any, why: str
) -> None:
    _, chosen = share(shop, packet, ends_when=(choice,))
    _, kept = share(shop, packet)
    assert opens(chosen, shop.at("12:05"))
    happens(shop, packet)
    # At once, before anything wrote it down; and the one for which it was not chosen stays.
    assert (opens(chosen, shop.at("12:05")), opens(kept, shop.at("12:05"))) == (False, True)
    assert sharing_ends.write_down_ends(as_of=shop.at("12:06")) == 1
    assert sharing_ends.write_down_ends(as_of=shop.at("12:07")) == 0
    ended = AccessGrant.objects.get(revoked_at=shop.at("12:06"))
    assert (ended.revoked_why, ended.link.revoked_why if ended.link else "") == (why, why)
    assert LogEntry.objects.filter(what="access.ended").count() == 1
    assert opens(kept, shop.at("12:08"))


def test_only_known_ends(shop: Shop, packet: Packet) -> None:
    with pytest.raises(Refused) as refusal:
        share(shop, packet, ends_when=("full_moon",))
    assert refusal.value.code == "bad_choice"


# ------------------------------------------------------------------ downloads


def count(shop: Shop, grant: AccessGrant, hhmm: str = "13:00") -> PacketDownload:
    assert grant.packet is not None
    return downloads.note_download(
        packet=grant.packet, actor=None, as_of=shop.at(hhmm), grant=grant,
        given=Given(sha256="b" * 64, size_bytes=11), caller=Caller(ip="2001:db8::7", user_agent="R\x1b[1m"),
    )  # fmt: skip


def test_downloads_through_a_link_are_counted_and_logged(shop: Shop, packet: Packet) -> None:
    link, text = share(shop, packet, max_downloads=1)
    grant = grant_through(link, packet.pk, as_of=shop.at("12:30"))
    made = count(shop, grant)
    assert (made.person, made.recipient, made.ip) == (None, link.recipient, "2001:db8::7")
    assert made.user_agent == "R[1m"
    with pytest.raises(Gone):
        count(shop, grant)
    entry = LogEntry.objects.get(what="packet.downloaded")
    assert entry.who == f"link/{link.pk}"
    assert str(link.pk) in entry.detail
    assert text not in entry.detail
    # What was sent of it is noted, and counts no more.
    part = downloads.Stretch(first_byte=4, sent_bytes=7)
    sent = downloads.note_transfer(download=made, stretch=part, as_of=shop.at("13:01"))
    assert sent.complete
    assert not downloads.note_transfer(
        download=made, stretch=downloads.Stretch(first_byte=0, sent_bytes=4), as_of=shop.at("13:02")
    ).complete
    assert AccessGrant.objects.get(pk=grant.pk).downloads == 1


def test_parts_are_read_and_not_taken(shop: Shop, packet: Packet) -> None:
    link, _ = share(shop, packet, sections=("procedures",))
    with pytest.raises(NotAllowed) as refusal:
        count(shop, grant_through(link, packet.pk, as_of=shop.at("12:30")))
    assert refusal.value.code == "sections_only"


def test_after_revocation_a_kept_copy_is_closed(shop: Shop, packet: Packet) -> None:
    link, _ = share(shop, packet)
    made = count(shop, grant_through(link, packet.pk, as_of=shop.at("12:30")))
    assert link_access.still_open(made, as_of=shop.at("13:00"))
    sharing.revoke_link(link=link, actor=shop.actor("tachterly"), as_of=shop.at("13:01"))
    assert not link_access.still_open(made, as_of=shop.at("13:01"))


@pytest.mark.parametrize(
    ("ip", "short"), [("203.0.113.77", "203.0.113.0"), ("2001:db8:1:2::9", "2001:db8:1::")]
)
def test_addresses_are_shortened(ip: str, short: str) -> None:
    # RFC 5737 and RFC 3849 addresses; 24 and 48 bits are a project default.
    assert sharing.shorten(ip) == short


# ------------------------------------------------------------------ pass phrases


def attempt(shop: Shop, link: ShareLink, phrase: str, hhmm: str = "12:30") -> str:
    try:
        passphrases.check_passphrase(link=link, as_of=shop.at(hhmm), phrase=phrase)
    except NotAllowed as error:
        return error.code
    return "past"


def test_a_pass_phrase_lies_there_as_argon2id(shop: Shop, packet: Packet) -> None:
    link, _ = share(shop, packet, passphrase=PHRASE)
    # The text form of RFC 9106's reference program; 19 MiB, two passes, one lane.
    assert link.passphrase_hash.startswith("$argon2id$v=19$m=19456,t=2,p=1$")
    with pytest.raises(Refused) as refusal:
        share(shop, packet, passphrase="short 7")
    assert refusal.value.code == "passphrase_short"
    assert [attempt(shop, link, phrase) for phrase in (PHRASE, PHRASE.upper(), "", PHRASE)] == [
        "past", "passphrase_wrong", "passphrase_wrong", "past",
    ]  # fmt: skip
    link.refresh_from_db()
    assert (link.wrong_tries, link.all_wrong_tries) == (0, 2)


def test_five_wrong_tries_lock_it_for_a_quarter_of_an_hour(shop: Shop, packet: Packet) -> None:
    link, _ = share(shop, packet, passphrase=PHRASE)
    assert {attempt(shop, link, "wrong one") for _ in range(5)} == {"passphrase_wrong"}
    assert attempt(shop, link, PHRASE) == "passphrase_locked"
    assert attempt(shop, link, PHRASE, "12:44:59") == "passphrase_locked"
    assert attempt(shop, link, PHRASE, "12:45") == "past"
    assert LogEntry.objects.filter(what="link.locked").count() == 1


def test_fifty_wrong_tries_shut_it(shop: Shop, packet: Packet, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passphrases, "MOST_IN_ALL", 10)
    link, text = share(shop, packet, passphrase=PHRASE)
    for hhmm in ("12:10", "12:30"):
        assert {attempt(shop, link, "wrong one", hhmm) for _ in range(5)} == {"passphrase_wrong"}
    assert not opens(text, shop.at("12:50"))
    assert AccessGrant.objects.get(link=link).revoked_why == "wrong_tries"
    assert LogEntry.objects.filter(what="link.shut").count() == 1


# ------------------------------------------------------------------ misses


def knock(shop: Shop, ip: str, hhmm: str, times: int = 1) -> None:
    for _ in range(times):
        link_guard.note_miss(ip=ip, as_of=shop.at(hhmm))


def is_let(shop: Shop, ip: str, hhmm: str) -> bool:
    try:
        link_guard.let_knock(ip=ip, as_of=shop.at(hhmm))
    except link_guard.TooManyTriesError:
        return False
    return True


def test_thirty_misses_a_minute_are_the_last(shop: Shop) -> None:
    knock(shop, "203.0.113.5", "12:00", 29)
    assert is_let(shop, "203.0.113.5", "12:00:59")
    knock(shop, "203.0.113.5", "12:00:30")
    assert not is_let(shop, "203.0.113.5", "12:00:59")
    assert is_let(shop, "203.0.113.6", "12:00:59")
    assert is_let(shop, "203.0.113.5", "12:01")
    # One caller usually has 64 bits of an IPv6 network to himself.
    knock(shop, "2001:db8::1", "12:00", 30)
    assert not is_let(shop, "2001:db8::ffff", "12:00")
    assert is_let(shop, "2001:db8:0:1::1", "12:00")


def test_three_hundred_within_an_hour_are_told_once(shop: Shop, packet: Packet) -> None:
    share(shop, packet)
    for minute in range(12):
        knock(shop, f"203.0.113.{minute % 3}", f"12:{minute:02d}", 25)
        assert LogEntry.objects.filter(what="links.guessed_at").count() == (1 if minute == 11 else 0)
    knock(shop, "203.0.113.200", "12:20", 5)
    (entry,) = LogEntry.objects.filter(what="links.guessed_at")
    assert '"misses":300' in entry.detail.replace(" ", "")
    assert "203.0.113" not in entry.detail
    for _ in range(11):
        knock(shop, "203.0.113.9", "12:25", 20)
    assert not is_let(shop, "203.0.113.9", "12:25")
    # Forgotten after two hours, and then a new hour is told anew.
    knock(shop, "203.0.113.9", "14:40", 300)
    assert LogEntry.objects.filter(what="links.guessed_at").count() == 2
    assert is_let(shop, "203.0.113.1", "14:40")
