"""Single changed bytes anywhere in a bundle or a packet file: every one is found, and its place is named."""

import io
import random
from pathlib import Path

import pytest

from rules.seal.bundle_check import check_bundle, check_packet
from rules.seal.bundle_parts import open_bundle
from rules.seal.enclosed import NotAPacketError
from rules.seal.pdf_check import signature_line
from tests.jobs.packets.packet_case import Store, finished
from tests.jobs.packets.sealed_case import Case, Sealed, sealed, signer
from tests.rules.seal.zip_places import name_bytes, places

pytestmark = pytest.mark.slow
IN_A_BUNDLE = 1000
IN_A_PDF = 300
SEED = 417


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, bytes]:
    folder = tmp_path_factory.mktemp("bytes")
    store = Store(folder)
    done = sealed(Case(source=finished(store), store=store))
    done.bundle(folder / "bundle.zip")
    return done, (folder / "bundle.zip").read_bytes()


def changed(data: bytes, at: int, dice: random.Random) -> bytes:
    return data[:at] + bytes([data[at] ^ dice.randrange(1, 256)]) + data[at + 1 :]


def test_a_thousand_changed_bytes_of_a_bundle_are_each_found_and_placed(made: tuple[Sealed, bytes]) -> None:
    data = made[1]
    dice, wanted = random.Random(SEED), places(data)
    assert open_bundle(io.BytesIO(data))[1].result == "agrees"
    for _ in range(IN_A_BUNDLE):
        at = dice.randrange(len(data))
        line = open_bundle(io.BytesIO(changed(data, at, dice)))[1]
        assert line.result == "differs", at
        assert line.at_fault == (wanted[at],), (at, wanted[at], line.at_fault)


def test_changed_bytes_around_the_contents_are_found_and_placed_too(made: tuple[Sealed, bytes]) -> None:
    """Most bytes are content; here are only those of headers, directory and end record, names among them."""
    data = made[1]
    dice, wanted = random.Random(SEED), places(data)
    around = [at for at, place in enumerate(wanted) if not place.startswith("content of ")]
    names = name_bytes(data)
    assert len(names) > 1000
    for at in dice.sample(around, 400):
        line = open_bundle(io.BytesIO(changed(data, at, dice)))[1]
        assert line.at_fault == (wanted[at],), (at, wanted[at], line.at_fault)


def test_the_whole_check_says_the_same_and_looks_at_the_rest(made: tuple[Sealed, bytes]) -> None:
    """A tenth of the cases through everything: whatever a byte breaks behind the archive, none is raised."""
    data = made[1]
    dice, wanted = random.Random(SEED + 1), places(data)
    for _ in range(IN_A_BUNDLE // 10):
        at = dice.randrange(len(data))
        found = check_bundle(io.BytesIO(changed(data, at, dice)), key=signer().key_sha256)
        assert not found.agrees
        assert wanted[at] in found.at_fault


def test_three_hundred_changed_bytes_of_the_packet_file_are_each_found(made: tuple[Sealed, bytes]) -> None:
    pdf = made[0].pdf
    dice = random.Random(SEED)
    assert signature_line(pdf, signer().key_sha256).result == "agrees"
    for _ in range(IN_A_PDF):
        at = dice.randrange(len(pdf))
        line = signature_line(changed(pdf, at, dice), signer().key_sha256)
        assert line.result == "differs", at
        assert line.at_fault == ("packet.pdf: signature",)


def test_changed_bytes_of_the_seal_in_the_packet_file_are_found(made: tuple[Sealed, bytes]) -> None:
    """The update that holds proof and signature is a small part of the file: here all 300 lie in it."""
    done = made[0]
    pdf, start = done.pdf, len(done.case.built().pdf)
    dice = random.Random(SEED)
    for _ in range(IN_A_PDF):
        at = dice.randrange(start, len(pdf))
        # The signature is written in hex; a letter in the other case would say the same, and is refused too.
        assert signature_line(changed(pdf, at, dice), signer().key_sha256).result == "differs", at


def test_the_whole_check_of_a_changed_packet_file_names_what_differs(made: tuple[Sealed, bytes]) -> None:
    pdf = made[0].pdf
    dice = random.Random(SEED + 2)
    for _ in range(IN_A_PDF // 10):
        data = changed(pdf, dice.randrange(len(pdf)), dice)
        try:
            found = check_packet(data)
        except NotAPacketError:
            # A byte that holds the file together: that it cannot be taken apart is said, with exit status 2.
            continue
        assert "packet.pdf: signature" in found.at_fault


def test_bytes_added_to_a_packet_file_or_cut_off_are_found(
    made: tuple[Sealed, bytes], tmp_path: Path
) -> None:
    pdf = made[0].pdf
    for other in (pdf + b"\n", pdf + b"%", pdf[:-1], pdf[: len(pdf) // 2]):
        assert signature_line(other, signer().key_sha256).result == "differs"
