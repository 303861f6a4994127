"""Samples: committed, frozen, drawn and drawn again; the archive of their copies, taken up after a stop."""

import io
import json
import secrets
import uuid
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db.models import QuerySet

from jobs import copies, storage
from jobs.access import Actor, actor_for_person, get_sample_for
from jobs.errors import Conflict, NotAllowed, NotFound, Refused
from jobs.models import (
    AccessGrant,
    ArchivedCopy,
    Job,
    LogEntry,
    Packet,
    PacketDownload,
    Sample,
    SampleArchive,
    SampledPacket,
    scope,
)
from jobs.selectors.samples import faults_against_log, faults_of_sheet, sentence
from jobs.services import sample_archive, sharing
from jobs.services.sample_archive import perform_archive, request_archive, sample_sheet
from jobs.services.sampling import SampleEntry, draw_sample, open_sample
from jobs.services.sharing import GrantEntry
from rules.canonical import sha256_hex
from rules.science.sampling import draw
from tests.factories import OrganisationFactory, PersonFactory, second_organisation
from tests.jobs.shop import Shop, new_id


@pytest.fixture
def joris(shop: Shop) -> Any:
    insurer = OrganisationFactory.create(name="Harrowmere Mutual", kind="insurer")
    return PersonFactory.create(organisation=insurer, login="jquell", name="Joris Quell", roles=["auditor"])


@pytest.fixture
def packets(shop: Shop, job: Job) -> list[Packet]:
    """Forty sealed packets of forty jobs, the same bytes in all; built at 12:01 and on."""
    pdf = storage.put(b"%PDF sealed")
    made = []
    for number in range(1, 41):
        fields = {field.attname: getattr(job, field.attname) for field in Job._meta.concrete_fields}
        other = Job(**fields | {"id": uuid.uuid4(), "number": f"EM-2026-{1000 + number}"})
        other.order = _order(job, number)
        other.save(force_insert=True)
        made.append(
            Packet.objects.create(
                organisation=shop.organisation, job=other, serial=f"{other.number}/P1", number=1, kind="full",
                state="sealed", requested_at=shop.at("12:00"), as_of=shop.at("12:00"),
                salt_key=secrets.token_bytes(32), built_at=shop.at("12:01"), pdf_sha256=pdf, pdf_bytes=11,
                merkle_root=sha256_hex(str(number).encode()),
            )
        )  # fmt: skip
    return made


def _order(job: Job, number: int) -> Any:
    order = type(job.order).objects.get(pk=job.order_id)
    order.pk, order.number = uuid.uuid4(), f"EM-2026-{1000 + number}"
    order.save(force_insert=True)
    return order


def opened(shop: Shop, actor: Actor | None = None, **fields: Any) -> Sample:
    of = fields.pop("of", None)
    given: dict[str, Any] = {
        "id": new_id(), "from_on": "2026-05-05", "to_on": "2026-05-05", "one_in": "10",
    } | fields  # fmt: skip
    return open_sample(
        actor=actor or shop.actor("tachterly"), as_of=shop.at("13:00"), entry=SampleEntry(**given), of=of
    )


def entries(sample: Sample) -> QuerySet[LogEntry]:
    return LogEntry.objects.filter(target=f"sample/{sample.pk}").order_by("n")


def sheet_of(sample: Sample) -> dict[str, Any]:
    sheet: dict[str, Any] = json.loads(sample_sheet(sample))
    return sheet


@pytest.mark.usefixtures("packets")
def test_the_seed_is_committed_before_the_population_is_frozen(shop: Shop, joris: Any) -> None:
    with pytest.raises(NotAllowed):
        opened(shop, shop.actor("itolvaar"))
    sample = opened(shop, for_person="jquell")
    committed, frozen = entries(sample)
    assert (committed.what, frozen.what) == ("sample.committed", "sample.frozen")
    assert sample.seed_sha256 in committed.detail
    assert sample.population_sha256 in frozen.detail
    for told in (committed.detail, frozen.detail, sample_sheet(sample).decode()):
        assert bytes(sample.seed).hex() not in told
    assert (sample.population_size, sample.bad) == (40, 4)
    # 4 of 40: scipy.stats.hypergeom.sf(0, 40, 4, n) is 0.9470 for 20 and 0.9576 for 21.
    assert sample.size == 21
    assert faults_of_sheet(sheet_of(sample)) == ["The sample is not drawn yet: its seed is not published."]


def test_who_looks_says_the_word_and_gets_what_was_drawn(
    shop: Shop, packets: list[Packet], joris: Any, tmp_path: Path
) -> None:
    sample = opened(shop, for_person="jquell", access_until=shop.text("13:00", days=20))
    auditor = actor_for_person(joris, as_of=shop.at("13:00"))
    for other in ("tachterly", "itolvaar"):
        with pytest.raises(NotAllowed):
            draw_sample(sample=sample, actor=shop.actor(other), as_of=shop.at("13:05"), word="mine")
    stranger = actor_for_person(second_organisation()["wstroud"], as_of=shop.at("13:00"))
    for outsider in (stranger,):
        with pytest.raises(NotFound):
            get_sample_for(outsider, sample.pk)
    assert get_sample_for(auditor, sample.pk) == sample
    drawn = draw_sample(sample=sample, actor=auditor, as_of=shop.at("13:05"), word="lantern 7")
    rows = list(SampledPacket.objects.filter(sample=drawn).order_by("place"))
    serials = [packet.serial for packet in packets]
    assert tuple(row.packet.serial for row in rows) == draw(bytes(sample.seed), "lantern 7", serials, 21)
    grants = AccessGrant.objects.filter(to_person=joris)
    assert {grant.packet_id for grant in grants} == {row.packet_id for row in rows}
    assert {grant.until for grant in grants} == {shop.at("13:00", days=20)}
    with pytest.raises(Conflict) as conflict:
        draw_sample(sample=sample, actor=auditor, as_of=shop.at("13:06"), word="again")
    assert conflict.value.code == "drawn_before"
    sheet = sheet_of(drawn)
    assert faults_of_sheet(sheet) == faults_against_log(sheet) == []
    file = tmp_path / "sample.json"
    file.write_text(json.dumps(sheet))
    out = io.StringIO()
    call_command("redraw_sample", file, stdout=out)
    assert "21 of 40 packets come out again" in out.getvalue()


@pytest.mark.usefixtures("packets")
def test_whatever_is_changed_afterwards_is_found(shop: Shop, tmp_path: Path) -> None:
    sample = opened(shop)
    draw_sample(sample=sample, actor=shop.actor("tachterly"), as_of=shop.at("13:05"), word="lantern")
    sample.refresh_from_db()
    good = sheet_of(sample)
    other_seed = secrets.token_bytes(32)
    changes: dict[str, dict[str, Any]] = {
        "seed": {"seed": other_seed.hex()},
        "seed and its hash": {"seed": other_seed.hex(), "seed_sha256": sha256_hex(other_seed)},
        "word": {"word": "lamp"},
        "population": {"population": good["population"][1:]},
        "drawn": {"drawn": good["drawn"][::-1]},
    }
    for name, change in changes.items():
        faults = faults_of_sheet(good | change) + faults_against_log(good | change)
        assert faults, name
        file = tmp_path / "sample.json"
        file.write_text(json.dumps(good | change))
        with pytest.raises(SystemExit) as left:
            call_command("redraw_sample", file, stdout=io.StringIO())
        assert left.value.code == 1
    file.write_text("[]")
    with pytest.raises(SystemExit) as left:
        call_command("redraw_sample", file, stderr=io.StringIO())
    assert left.value.code == 2


def test_somebody_from_outside_samples_what_was_granted(
    shop: Shop, packets: list[Packet], joris: Any
) -> None:
    for packet in packets[:9]:
        sharing.grant_access(
            packet=packet, actor=shop.actor("tachterly"), as_of=shop.at("12:30"),
            entry=GrantEntry(id=new_id(), to_person="jquell", purpose="insurer_audit"),
        )  # fmt: skip
    auditor = actor_for_person(joris, as_of=shop.at("13:00"))
    # As the pages and the API call it: with the scope of the caller's own house.
    with scope(joris.organisation_id):
        with pytest.raises(NotFound):
            opened(shop, auditor, of=joris.organisation_id)
        sample = opened(shop, auditor, of=shop.organisation.pk)
    assert [row["serial"] for row in sample.population] == [packet.serial for packet in packets[:9]]
    assert (sample.organisation, sample.for_person) == (shop.organisation, joris)
    draw_sample(sample=sample, actor=auditor, as_of=shop.at("13:05"), word="w")
    assert AccessGrant.objects.count() == 9
    assert LogEntry.objects.get(what="sample.drawn").who == "jquell"


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"from_on": "2026-05-06"}, "bad_period"),
        ({"from_on": "5 May"}, "bad_date"),
        ({"one_in": "0.5"}, "bad_share"),
        ({"confidence": "1"}, "bad_confidence"),
        ({"confidence": "0.49"}, "bad_confidence"),
        ({"for_person": "nobody"}, "unknown_reference"),
        ({"access_until": "2027-05-05T12:00:00Z"}, "grant_too_long"),
    ],
)
@pytest.mark.usefixtures("packets")
def test_what_is_refused(shop: Shop, fields: dict[str, str], code: str) -> None:
    with pytest.raises(Refused) as refusal:
        opened(shop, **fields)
    assert refusal.value.code == code


def test_the_population_is_one_packet_a_job_in_its_period(shop: Shop, packets: list[Packet]) -> None:
    first = packets[0]
    copy = {field.attname: getattr(first, field.attname) for field in Packet._meta.concrete_fields}
    Packet.objects.create(**copy | {"id": uuid.uuid4(), "number": 2, "serial": f"{first.job.number}/P2"})
    insurer = copy | {"id": uuid.uuid4(), "number": 3, "kind": "insurer", "serial": f"{first.job.number}/P3"}
    Packet.objects.create(**insurer)
    serials = [row["serial"] for row in opened(shop).population]
    assert len(serials) == 40
    assert first.serial not in serials
    assert f"{first.job.number}/P2" in serials
    # The local day: 5 May ends at 05:00 UTC of the 6th in Chicago.
    for day, found in (("2026-05-04", False), ("2026-05-06", False)):
        with pytest.raises(Conflict) as conflict:
            opened(shop, from_on=day, to_on=day)
        assert (conflict.value.code, found) == ("nothing_to_sample", False)
    with pytest.raises(NotFound):
        opened(shop, locations=("XX",))
    assert opened(shop, locations=(shop.location.code,)).locations == [shop.location.code]


def test_the_sentence() -> None:
    told = "You want to be 95 % sure to notice a shop where 1 job in 20 is bad: look at 55 of 400."
    assert sentence(400, 20, "0.95", 55) == told
    assert "99.5 % sure" in sentence(400, 20, "0.995", 79)


# ------------------------------------------------------------------ the archive


def _stamped(*, packet: Packet, grant: AccessGrant, at: Any) -> bytes:
    """In place of the real stamp, which the tests of played days cover: names recipient and packet."""
    return f"{packet.serial} for {grant.recipient}".encode()


@pytest.fixture
def drawn(shop: Shop, packets: list[Packet], joris: Any, monkeypatch: pytest.MonkeyPatch) -> Sample:
    monkeypatch.setattr(sample_archive, "stamped_copy", _stamped)
    sample = opened(shop, for_person="jquell")
    auditor = actor_for_person(joris, as_of=shop.at("13:00"))
    return draw_sample(sample=sample, actor=auditor, as_of=shop.at("13:05"), word="lantern")


def asked(shop: Shop, sample: Sample, person: Any) -> SampleArchive:
    actor = actor_for_person(person, as_of=shop.at("13:10"))
    return request_archive(sample=sample, actor=actor, as_of=shop.at("13:10"), archive_id=new_id())


def test_an_archive_holds_a_stamped_counted_copy_of_each(shop: Shop, drawn: Sample, joris: Any) -> None:
    with pytest.raises(NotFound):
        asked(shop, drawn, shop.people["tachterly"])
    archive = asked(shop, drawn, joris)
    assert asked(shop, drawn, joris) == archive
    built = perform_archive(archive_id=archive.pk, as_of=shop.at("13:11"))
    assert (built.state, built.until) == ("ready", shop.at("13:11") + timedelta(days=3))
    data = copies.path(archive.pk).read_bytes()
    assert (sha256_hex(data), len(data)) == (built.sha256, built.size_bytes)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        assert packed.testzip() is None
        names = packed.namelist()
        assert names[0] == "sample.json"
        assert faults_of_sheet(json.loads(packed.read("sample.json"))) == []
        rows = list(SampledPacket.objects.filter(sample=drawn).order_by("place"))
        assert names[1:] == [f"{row.place:04d}-{row.packet.serial.replace('/', '-')}.pdf" for row in rows]
        for name, row in zip(names[1:], rows, strict=True):
            assert packed.read(name) == f"{row.packet.serial} for Harrowmere Mutual, Joris Quell".encode()
    assert PacketDownload.objects.filter(person=joris).count() == 21
    assert LogEntry.objects.filter(what="packet.downloaded", who="jquell").count() == 21
    assert set(AccessGrant.objects.values_list("downloads", flat=True)) == {1}
    # Only the ZIP is kept; its parts lie in it.
    assert {name for name, _ in copies.all_kept()} >= {archive.pk}
    assert not any(copies.exists(row.copy) for row in PacketDownload.objects.all() if row.copy)


def test_a_stopped_archive_goes_on_where_it_was(
    shop: Shop, drawn: Sample, joris: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = asked(shop, drawn, joris)
    made: list[str] = []

    def stops(*, packet: Packet, grant: AccessGrant, at: Any) -> bytes:
        if len(made) == 7:
            raise RuntimeError("the worker was ended")
        made.append(packet.serial)
        return _stamped(packet=packet, grant=grant, at=at)

    monkeypatch.setattr(sample_archive, "stamped_copy", stops)
    with pytest.raises(RuntimeError):
        perform_archive(archive_id=archive.pk, as_of=shop.at("13:11"))
    assert ArchivedCopy.objects.filter(archive=archive).count() == 7
    monkeypatch.setattr(sample_archive, "stamped_copy", _stamped)
    assert perform_archive(archive_id=archive.pk, as_of=shop.at("13:12")).state == "ready"
    assert PacketDownload.objects.count() == 21
    assert LogEntry.objects.filter(what="packet.downloaded").count() == 21


def test_a_long_archive_is_made_in_several_goes(
    shop: Shop, drawn: Sample, joris: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sample_archive, "AT_ONE_GO", 8)
    archive = asked(shop, drawn, joris)
    for done, state in ((8, "building"), (16, "building"), (21, "ready")):
        assert perform_archive(archive_id=archive.pk, as_of=shop.at("13:11")).state == state
        assert ArchivedCopy.objects.filter(archive=archive).count() == done


def test_what_was_taken_back_is_left_out(shop: Shop, drawn: Sample, joris: Any) -> None:
    archive = asked(shop, drawn, joris)
    gone = SampledPacket.objects.get(sample=drawn, place=3)
    assert gone.grant is not None
    sharing.revoke_grant(grant=gone.grant, actor=shop.actor("tachterly"), as_of=shop.at("13:10"))
    perform_archive(archive_id=archive.pk, as_of=shop.at("13:11"))
    with zipfile.ZipFile(copies.path(archive.pk)) as packed:
        assert len(packed.namelist()) == 21
        assert not any(name.startswith("0003-") for name in packed.namelist())
    assert not PacketDownload.objects.filter(packet=gone.packet).exists()


def test_nothing_is_packed_before_the_draw(shop: Shop, packets: list[Packet], joris: Any) -> None:
    sample = opened(shop, for_person="jquell")
    with pytest.raises(Conflict) as conflict:
        asked(shop, sample, joris)
    assert conflict.value.code == "not_drawn"
