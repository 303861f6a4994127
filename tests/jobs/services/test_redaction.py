"""Redacted packets by services: what is withheld is nowhere left, the root stands, the words are honest."""

import io
import json
import re
import subprocess
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from PIL import Image

from jobs import storage
from jobs.access import get_packet_for
from jobs.errors import Conflict, NotAllowed, NotFound, Refused
from jobs.models import Job, LogEntry, Packet, PacketRedaction, scope
from jobs.packets.source import PacketSource
from jobs.packets.verify import verify_pdf
from jobs.services import decision, packet_sealing, redaction, sharing
from jobs.services import packet as packets
from jobs.services.painting import PictureChoice, Region
from jobs.services.redaction import FieldChoice, LeftChoice, RedactionEntry
from jobs.services.sharing import GrantEntry
from rules.canonical import sha256_hex
from rules.seal.redaction_check import KINDS
from tests.factories import OrganisationFactory, PersonFactory
from tests.jobs.services.test_evidence_intake import climate, picture
from tests.jobs.shop import Shop, eastmarch, new_id

pytestmark = pytest.mark.slow

NAME = "R. Ashgrove"
WHY = "Not needed for the purpose it is asked for."
TOLD = "The owner Ashgrove says that the lamp was lit before; the code stays and is known."


@pytest.fixture(autouse=True)
def store(settings: Any, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    return tmp_path


@pytest.fixture
def shop(db: None) -> Iterator[Shop]:
    made = eastmarch()
    with scope(made.organisation.pk):
        made.publish("common-practice.3.yaml", "orrinvale.7.yaml")
        yield made


@pytest.fixture
def job(shop: Shop) -> Job:
    """A photo with metadata, a log, and a reviewer's text that names the customer."""
    shop.observe_clock("07:29")
    made = shop.open_job(customer_contact="ashgrove@mail.example, 0151 555 7788")
    shop.upload(made, picture(shop, "08:00"), hhmm="08:00", shows=("plate",))
    climate(shop, made)
    decision.explain(
        job=made, actor=shop.actor("dpell"), as_of=shop.at("09:30"),
        entry=decision.ExplanationEntry(id=new_id(), module="Lamp", code="C1A45", ftb="54", text=TOLD),
    )  # fmt: skip
    return made


@pytest.fixture
def sealed(shop: Shop, job: Job) -> Packet:
    asked = packets.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    return done(shop, asked, "10:01")


def done(shop: Shop, packet: Packet, hhmm: str) -> Packet:
    made = packet_sealing.perform_packet(packet_id=packet.pk, as_of=shop.at(hhmm) + timedelta(seconds=20))
    assert made.state == "sealed", (made.state, made.failure_code, made.failure_message)
    return made


def ask(shop: Shop, packet: Packet, hhmm: str = "11:00", login: str = "lveskel", **entry: Any) -> Packet:
    given = {"id": uuid.uuid4()} | entry
    return redaction.request_redaction(
        packet=packet, actor=shop.actor(login), as_of=shop.at(hhmm), entry=RedactionEntry(**given)
    )


def field(path: str, kind: str = "customer_name", why: str = WHY) -> FieldChoice:
    return FieldChoice(path=path, kind=kind, why=why)


def path_of(packet: Packet, ending: str) -> str:
    told = json.loads(attached(packets.sealed_bytes(packet))["manifest.json"])
    return next(str(entry["path"]) for entry in told["entries"] if entry["path"].endswith(ending))


def attached(pdf: bytes) -> dict[str, bytes]:
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        return {name: spec.get_file().read_bytes() for name, spec in opened.attachments.items()}


def everything_in(pdf: bytes, folder: Path) -> bytes:
    """Pages as text, every stream uncompressed, every attachment: whatever a stranger could dig out."""
    file, plain = folder / "dug.pdf", folder / "plain.pdf"
    file.write_bytes(pdf)
    text = subprocess.run(["pdftotext", "-layout", str(file), "-"], capture_output=True, check=True).stdout
    found = subprocess.run(
        ["qpdf", "--qdf", "--object-streams=disable", str(file), str(plain)], capture_output=True, check=False
    )
    assert found.returncode in (0, 3), found.stderr
    info = subprocess.run(["pdfinfo", "-meta", str(file)], capture_output=True, check=True).stdout
    return b"\n".join([text, plain.read_bytes(), info, *attached(pdf).values()])


def images_in(pdf: bytes, folder: Path) -> list[Image.Image]:
    file, where = folder / "pictures.pdf", folder / uuid.uuid4().hex
    file.write_bytes(pdf)
    where.mkdir()
    subprocess.run(["pdfimages", "-all", str(file), str(where / "p")], check=True)
    found = []
    for path in sorted(where.iterdir()):
        if path.suffix in (".jpg", ".png"):
            with Image.open(path) as opened:
                opened.load()
                found.append(opened.copy())
    return found


# ------------------------------------------------------------------ refused first, then whole


def test_the_name_and_a_region_are_gone_and_the_root_stands(
    shop: Shop, job: Job, sealed: Packet, store: Path
) -> None:
    region = Region(x=0.3, y=0.3, width=0.2, height=0.25)
    face = PictureChoice(file="evidence-0001.jpg", kind="face", why=WHY, regions=(region,))
    wanted = (field("order/customer_name"), field("order/customer_contact", "contact"))

    # The reviewer wrote the name into a text: refused, and told where.
    with pytest.raises(Refused) as caught:
        ask(shop, sealed, fields=wanted, pictures=(face,))
    assert caught.value.code == "redaction_leaves_hits"
    told = caught.value.extra["hits"]
    assert isinstance(told, list)
    text_path = path_of(sealed, "/text")
    assert {hit["path"] for hit in told} == {text_path}
    assert "Ashgrove" in told[0]["around"]
    assert told[0]["where"].endswith(": text")
    assert Packet.objects.filter(kind="redacted").count() == 0

    asked = ask(shop, sealed, fields=(*wanted, field(text_path)), pictures=(face,))
    assert (asked.kind, asked.serial, asked.state) == ("redacted", "EM-2026-0417/P2", "waiting")
    made = done(shop, asked, "11:01")
    assert made.merkle_root == sealed.merkle_root
    pdf = packets.sealed_bytes(made)

    checked = verify_pdf(pdf, stored=storage.is_intact, expected_pdf_sha256=made.pdf_sha256)
    assert checked.agrees, checked.to_plain()
    assert checked.line("tree").result == checked.line("redaction").result == "agrees"
    assert checked.root == sealed.merkle_root

    dug = everything_in(pdf, store).lower()
    assert b"ashgrove" in everything_in(packets.sealed_bytes(sealed), store).lower()
    original = next(iter(job.evidences.filter(number=1)))
    for secret in (b"ashgrove", b"555 7788", b"lamp was lit before"):
        assert secret not in dug, secret
    assert storage.read(original.sha256) not in pdf
    # Neither does the input that the packet is built from hold any of it.
    assert b"ashgrove" not in storage.read(made.source_sha256).lower()

    source = PacketSource.from_bytes(storage.read(made.source_sha256))
    painted = source.files[0]
    assert painted.name == "redacted-0001.jpg"
    assert_flat(Image.open(io.BytesIO(storage.read(painted.sha256))), region)
    shown = [image for image in images_in(pdf, store) if min(image.size) > 300]
    assert shown
    for image in shown:
        assert not image.getexif()
        assert_flat(image, region)

    list_of = json.loads(attached(pdf)["redaction.json"])
    assert (list_of["of"], list_of["serial"]) == (sealed.serial, made.serial)
    assert list_of["counts"]["customer_name"] == 2
    assert list_of["counts"]["contact"] == list_of["counts"]["face"] == 1
    assert all(item["why"] and item["where"] for item in list_of["fields"])
    assert {item["kind"] for item in list_of["fields"]} <= KINDS.keys()
    row = PacketRedaction.objects.get(packet=made)
    assert (row.of_id, row.sha256) == (sealed.pk, sha256_hex(attached(pdf)["redaction.json"]))
    entry = json.loads(LogEntry.objects.get(what="packet.requested", detail__contains="redacted").detail)
    assert entry["redaction_sha256"] == row.sha256

    # Once more, from the redacted one: what was gone stays gone, more goes.
    again = done(shop, ask(shop, made, "12:00", fields=(field("facts/vehicle/vin", "plate"),),
                           left=tuple(LeftChoice(path=path, why=WHY) for path in hits_of(shop, made))),
                 "12:01")  # fmt: skip
    assert again.merkle_root == sealed.merkle_root
    checked = verify_pdf(packets.sealed_bytes(again))
    assert checked.agrees, checked.to_plain()
    assert "vin" in checked.line("verdicts").text.lower()
    assert checked.line("verdicts").result == "not_checked"
    later = json.loads(attached(packets.sealed_bytes(again))["redaction.json"])
    assert {item["path"] for item in later["fields"]} > {item["path"] for item in list_of["fields"]}
    assert later["pictures"] == list_of["pictures"]
    assert later["not_judged_again"]
    assert b"ashgrove" not in everything_in(packets.sealed_bytes(again), store).lower()
    assert PacketRedaction.objects.get(packet=again).left
    assert WHY not in json.dumps(later["by_kind"])

    # Access to the redacted one opens nothing else.
    auditor = PersonFactory.create(
        organisation=OrganisationFactory.create(name="Harrowmere Mutual", kind="insurer"),
        login="jquell", name="Joris Quell", roles=["auditor"],
    )  # fmt: skip
    sharing.grant_access(
        packet=made, actor=shop.actor("tachterly"), as_of=shop.at("12:10"),
        entry=GrantEntry(
            id=uuid.uuid4(), to_person="jquell", purpose="insurer_audit", until=shop.text("12:10", days=10)
        ),
    )  # fmt: skip
    outside = actor_of(auditor, shop)
    assert get_packet_for(outside, made.pk, as_of=shop.at("12:20")) == made
    for other in (sealed, again):
        with pytest.raises(NotFound):
            get_packet_for(outside, other.pk, as_of=shop.at("12:20"))
    with pytest.raises(NotAllowed):
        redaction.choices_of(packet=made, actor=outside)


def actor_of(person: Any, shop: Shop) -> Any:
    shop.people[person.login] = person
    return shop.actor(person.login)


def hits_of(shop: Shop, packet: Packet) -> list[str]:
    plan = redaction.plan_of(
        packet=packet, actor=shop.actor("lveskel"),
        entry=RedactionEntry(id=uuid.uuid4(), fields=(field("facts/vehicle/vin", "plate"),)),
    )  # fmt: skip
    return [hit.path for hit in plan.hits]


def assert_flat(image: Image.Image, region: Region) -> None:
    """Nothing but one colour inside; something else outside."""
    grey = image.convert("L")
    width, height = grey.size
    box = (
        round(region.x * width) + 1,
        round(region.y * height) + 1,
        round((region.x + region.width) * width) - 1,
        round((region.y + region.height) * height) - 1,
    )
    low, high = grey.crop(box).getextrema()
    assert high - low <= 2, (low, high)
    whole_low, whole_high = grey.getextrema()
    assert whole_high - whole_low > 50


# ------------------------------------------------------------------ who, and what is refused


def test_who_may_and_what_is_refused(shop: Shop, job: Job, sealed: Packet) -> None:
    name = (field("order/customer_name"),)
    for login in ("itolvaar", "dpell", "tachterly"):
        with pytest.raises(NotAllowed) as not_allowed:
            ask(shop, sealed, login=login, fields=name)
        assert not_allowed.value.code == "role_missing"
    stranger = PersonFactory.create(
        organisation=OrganisationFactory.create(name="Other Group"),
        login="q.other",
        roles=["quality_manager"],
    )
    with pytest.raises(NotFound):
        redaction.choices_of(packet=sealed, actor=actor_of(stranger, shop))
    refusals: list[tuple[str, dict[str, Any]]] = [
        ("nothing_to_withhold", {}),
        ("unknown_entry", {"fields": (field("order/nothing"),)}),
        ("unknown_entry", {"fields": (field("packet/serial"),)}),
        ("unknown_entry", {"fields": (field("facts/photos/*"),)}),
        ("chosen_twice", {"fields": (*name, *name)}),
        ("bad_choice", {"fields": (field("order/customer_name", "whatever"),)}),
        ("text_length", {"fields": (field("order/customer_name", why="short"),)}),
        ("unknown_entry", {"fields": name, "left": (LeftChoice(path="x", why=WHY),)}),
        ("unknown_picture", {"pictures": (regions("evidence-0002.csv"),)}),
        ("bad_region", {"pictures": (regions("evidence-0001.jpg", x=0.9, width=0.2),)}),
        ("bad_region", {"pictures": (regions("evidence-0001.jpg", width=0.0),)}),
    ]
    for code, entry in refusals:
        with pytest.raises(Refused) as caught:
            ask(shop, sealed, **entry)
        assert caught.value.code == code, entry
    assert Packet.objects.filter(kind="redacted").count() == 0

    choices = redaction.choices_of(packet=sealed, actor=shop.actor("pvantongeren"))
    by_path = {entry.path: entry for entry in choices.entries}
    assert by_path["order/customer_name"].where == "Customer's name"
    assert [file.number for file in choices.pictures] == [1]
    assert "files/facts.json" not in by_path
    given = uuid.uuid4()
    places = (path_of(sealed, "/text"), "order/customer_contact")
    left = tuple(LeftChoice(path=place, why=WHY) for place in places)
    first = ask(shop, sealed, id=given, fields=name, left=left)
    assert ask(shop, sealed, id=given, fields=name).pk == first.pk == given
    with pytest.raises(Conflict) as conflict:
        ask(shop, sealed, id=sealed.pk, fields=name)
    assert conflict.value.code == "id_in_use"
    with pytest.raises(Conflict) as not_sealed:
        redaction.choices_of(packet=first, actor=shop.actor("lveskel"))
    assert not_sealed.value.code == "packet_not_sealed"


def regions(file: str, x: float = 0.1, width: float = 0.2) -> PictureChoice:
    region = Region(x=x, y=0.1, width=width, height=0.2)
    return PictureChoice(file=file, kind="face", why=WHY, regions=(region,))


def test_the_hash_of_a_withheld_text_goes_with_it(shop: Shop, job: Job, sealed: Packet) -> None:
    """A record's hash, and the log line that tells it, would let a short text be guessed."""
    text_path = path_of(sealed, "/text")
    plan = redaction.plan_of(
        packet=sealed, actor=shop.actor("lveskel"),
        entry=RedactionEntry(id=uuid.uuid4(), fields=(field(text_path, "other"),)),
    )  # fmt: skip
    follows = {item.path for item in plan.items if item.follows}
    record = text_path.removesuffix("/text")
    assert f"{record}/sha256" in follows
    assert {"files/facts.json", "files/assessment.json", "assessment/facts_sha256"} <= follows
    told = json.loads(attached(packets.sealed_bytes(sealed))["manifest.json"])
    digest = next(entry["value"] for entry in told["entries"] if entry["path"].endswith(f"{record}/sha256"))
    record_hash = f"{record}/sha256"
    telling = [
        entry["path"]
        for entry in told["entries"]
        if entry["path"] != record_hash and digest in json.dumps(entry.get("value"))
    ]
    assert telling
    assert set(telling) <= follows
    assert all(re.match(r"log/\d{9}$", path) for path in telling)
