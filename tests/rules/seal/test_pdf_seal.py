"""The signature on a packet: every changed byte is found, every way to hide something refused with a reason.

Outside sources: ISO 32000-1 (12.8.1 byte ranges, 7.5.6 updates), ETSI EN 319 142-1 (form of the signature),
and two other readers of the same files: pyHanko and the openssl program.
"""

import io
import random
import re
import subprocess
from pathlib import Path

import pikepdf
import pytest
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import load_der_x509_certificate
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter

from jobs.packets import seal as seal_module
from jobs.packets.seal import seal_pdf
from jobs.packets.signature_check import check_signature
from rules.canonical import sha256_hex
from rules.seal.pdf_seal import body_sha256, read_seal
from tests.sealed_pdf import AT, OWNER, SEALING, demo_signer, sealed, sealed_once, small_body

FLIPS = 340


def test_what_a_sound_seal_shows() -> None:
    made = sealed_once()
    found = read_seal(made.pdf)
    assert (found.fault, found.is_signed, found.holds) == ("", True, True)
    assert found.key_sha256 == demo_signer().key_sha256
    assert found.certificate is not None
    assert found.certificate.der == demo_signer().certificate_der
    assert (found.claimed_at, found.signed_name) == (AT, OWNER)
    assert (found.body_bytes, found.later_bytes) == (len(made.body), 0)
    assert found.is_self_issued
    assert body_sha256(made.pdf, found.body_bytes) == sha256_hex(made.body)
    assert body_sha256(made.pdf, len(made.pdf) + 1) == ""


def test_without_a_key_nothing_is_signed_and_nothing_is_wrong() -> None:
    unsigned = seal_pdf(small_body(), SEALING, dated=AT, seal=None)
    for pdf in (unsigned, small_body()):
        found = read_seal(pdf)
        assert (found.fault, found.is_signed, found.holds, found.key_sha256) == ("", False, False, "")
        assert found.body_bytes == len(small_body())


def test_every_changed_byte_outside_the_signature_is_found() -> None:
    """Seeded; half of them in the update, where tables, dictionaries and the signature's own words stand."""
    made = sealed_once()
    chance = random.Random(20260505)
    start, end = made.gap
    seen = 0
    while seen < FLIPS:
        first = len(made.body) if seen % 2 else 0
        at = chance.randrange(first, len(made.pdf))
        if start <= at < end:
            continue
        changed = bytearray(made.pdf)
        changed[at] ^= chance.randrange(1, 256)
        assert not read_seal(bytes(changed)).holds, (at, made.pdf[at], changed[at])
        seen += 1


def test_a_second_library_finds_the_same_changes() -> None:
    made = sealed_once()
    chance = random.Random(7)
    start, _ = made.gap
    assert check_signature(made.pdf).is_whole
    for _ in range(25):
        at = chance.randrange(0, start)
        changed = bytearray(made.pdf)
        changed[at] ^= chance.randrange(1, 256)
        assert not check_signature(bytes(changed)).is_whole, at
        assert not read_seal(bytes(changed)).holds, at


def test_changes_inside_the_signature_are_found_too() -> None:
    """Every byte of the DER matters; so do the zeros that fill its place and the letters of the digits."""
    made = sealed_once()
    start, end = made.gap
    digits = made.pdf[start + 1 : end - 1].rstrip(b"0")
    chance = random.Random(11)
    for at in (*(chance.randrange(start + 1, start + 1 + len(digits)) for _ in range(120)), end - 2):
        changed = bytearray(made.pdf)
        changed[at] = ord("1") if changed[at] != ord("1") else ord("2")
        assert not read_seal(bytes(changed)).holds, at
    lower = made.pdf[: start + 1] + made.pdf[start + 1 : end - 1].lower() + made.pdf[end - 1 :]
    assert "no hexadecimal string" in read_seal(lower).fault


def appended(pdf: bytes, what: str) -> bytes:
    """The file with an update after its signature, as shadow attacks have it."""
    writer = IncrementalPdfFileWriter(io.BytesIO(pdf))
    if what == "text":
        page = writer.root["/Pages"]["/Kids"][0]
        page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=b"BT (other) ' ET"))
        writer.update_container(page)
    else:
        writer.root["/Extra"] = generic.NumberObject(1)
        writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


@pytest.mark.parametrize("what", ["text", "catalogue"])
def test_an_update_after_the_signature_is_reported(what: str) -> None:
    made = sealed_once()
    found = read_seal(appended(made.pdf, what))
    assert (found.fault, found.holds) == ("something was added after the signature", False)
    assert found.later_bytes == len(appended(made.pdf, what)) - len(made.pdf)


@pytest.mark.parametrize(
    "tail", [b"\n", b" ", b"%%EOF\n", b"%comment\n", b"\x00" * 40, b"startxref\n0\n%%EOF\n"]
)
def test_anything_after_the_end_is_refused(tail: bytes) -> None:
    assert read_seal(sealed_once().pdf + tail).fault


def test_a_file_cut_off_or_empty_is_refused_plainly() -> None:
    pdf = sealed_once().pdf
    for end in (0, 1, 20, len(small_body()) + 5, len(pdf) - 1, len(pdf) - 7, len(pdf) - 100):
        found = read_seal(pdf[:end])
        assert found.fault
        assert not found.holds
    # Cut exactly behind the body it is the body, which says nothing of a signature.
    assert read_seal(pdf[: len(small_body())]).is_signed is False


def replaced(old: bytes, new: bytes) -> bytes:
    """The sealed file with one piece of the signature's dictionary changed, offsets left as they were."""
    made = sealed_once()
    at = made.pdf.rindex(old, len(made.body))
    assert len(new) <= len(old)
    return made.pdf[:at] + new.ljust(len(old)) + made.pdf[at + len(old) :]


def test_two_byte_ranges_are_refused() -> None:
    told = re.search(rb"/ByteRange \[[0-9 ]+\] {10,}", sealed_once().pdf[len(small_body()) :])
    assert told is not None
    twice = told.group().rstrip() + b" /ByteRange [0 1]"
    fault = read_seal(replaced(told.group(), twice)).fault
    assert fault == "the key ByteRange stands twice in one dictionary"


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda a, b, c: (1, a - 1, b, c), "leaves out more than itself"),
        (lambda a, b, c: (0, a + 2, b, c), "leaves out more than itself"),
        (lambda a, b, c: (0, a - 60, b, c), "leaves out more than itself"),
        (lambda a, b, c: (0, a, b - 2, c + 2), "leaves out more than itself"),
        (lambda a, b, c: (0, a, b + 40, c - 40), "leaves out more than itself"),
        (lambda a, b, c: (0, a, b, c - 1), "something was added after the signature"),
        (lambda a, b, c: (0, a, b, c + 1), "covers more than there is"),
        (lambda a, b, c: (0, b, a, c + b - a), "leaves out more than itself"),
        (lambda a, b, c: (0, a, b), "in two pieces"),
        (lambda a, b, c: (0, a, b, c, 0, 0), "in two pieces"),
        (lambda a, b, c: (0, -a, b, c), "something impossible"),
    ],
)
def test_byte_ranges_that_leave_something_out_are_refused(change, reason) -> None:  # type: ignore[no-untyped-def]
    pdf = sealed_once().pdf
    told = re.search(rb"/ByteRange \[0 ([0-9]+) ([0-9]+) ([0-9]+)\] {10,}", pdf[len(small_body()) :])
    assert told is not None
    numbers = change(*(int(told[n]) for n in (1, 2, 3)))
    text = "/ByteRange [" + " ".join(str(number) for number in numbers) + "]"
    assert reason in read_seal(replaced(told.group(), text.encode())).fault


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        (b"/SubFilter /ETSI.CAdES.detached", b"/SubFilter /adbe.pkcs7.detached", "not one of the form"),
        (b"/P 1\n", b"/P 2\n", "does not forbid later changes"),
        (b"/TransformMethod /DocMDP", b"/TransformMethod /UR3", "does not forbid later changes"),
        (b"/Type /Sig\n", b"/Type /Tig\n", "not one of the form"),
        (b"/Rect [ 0 0 0 0 ]", b"/Rect [ 0 0 9 9 ]", "not the one that was signed"),
        (b"/Reason (Packet sealed)", b"/Cert (Packet sealed)", "says more than a packet's does"),
        (b"/SigFlags 3", b"/SigFlags 1", "not the one that was signed"),
        (b"/FT /Sig", b"/FT /Tx", "holds no signature"),
        (b"/DocMDP ", b"/DocMDX ", "not the one that was signed"),
    ],
)
def test_other_forms_of_signature_are_refused(old: bytes, new: bytes, reason: str) -> None:
    found = read_seal(replaced(old, new))
    assert not found.holds
    assert reason in found.fault


def test_lengths_left_open_are_refused() -> None:
    """BER allows an indefinite length (X.690 section 8.1.3.6), DER does not."""
    made = sealed_once()
    start, end = made.gap
    der = bytes.fromhex(made.pdf[start + 1 : end - 1].decode())
    length = int.from_bytes(der[2:4], "big") + 4
    for hostile in (
        b"\x30\x80" + der[4:length] + b"\x00\x00",
        b"\x30\x83\x00" + der[2:length],
        der[: length - 1],
        b"\x31" + der[1:length],
        b"",
    ):
        digits = hostile.hex().upper().encode().ljust(end - start - 2, b"0")
        found = read_seal(made.pdf[: start + 1] + digits + made.pdf[end - 1 :])
        assert not found.holds
        assert found.fault


def test_a_signature_of_somebody_else_is_told_apart_by_its_key() -> None:
    """Whoever signs the file anew makes a sound seal; its key is another one, and that is what to compare."""
    other = sealed(signer=demo_signer("Sallowfield Mobile Aiming"))
    found = read_seal(other.pdf)
    assert found.holds
    assert found.key_sha256 != read_seal(sealed_once().pdf).key_sha256


# ------------------------------------------------------------------ what the update does to the body


def signed_over(change) -> bytes:  # type: ignore[no-untyped-def]
    """A file whose signer himself changed the body in the sealing update: its signature holds."""
    original = seal_module._with_sealing

    def hostile(body: bytes, sealing: bytes, dated):  # type: ignore[no-untyped-def]
        writer = original(body, sealing, dated)
        change(writer)
        return writer

    seal_module._with_sealing = hostile
    try:
        return sealed().pdf
    finally:
        seal_module._with_sealing = original


def other_page(writer: IncrementalPdfFileWriter) -> None:
    page = writer.root["/Pages"]["/Kids"][1]
    page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=b"BT (other) ' ET"))
    writer.update_container(page)


def other_content_of_the_signed_page(writer: IncrementalPdfFileWriter) -> None:
    page = writer.root["/Pages"]["/Kids"][0]
    page["/Contents"] = writer.add_object(generic.StreamObject(stream_data=b"BT (other) ' ET"))
    writer.update_container(page)


def other_attachment(writer: IncrementalPdfFileWriter) -> None:
    stream = writer.root["/Names"]["/EmbeddedFiles"]["/Names"][1]["/EF"]["/F"]
    stream._data = b"{}"
    stream._encoded_data = None
    writer.update_container(stream)


def another_attachment(writer: IncrementalPdfFileWriter) -> None:
    names = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    names.append(generic.pdf_string("zz.json"))
    names.append(names.raw_get(1))
    writer.update_container(names)


def a_script(writer: IncrementalPdfFileWriter) -> None:
    writer.root["/OpenAction"] = generic.DictionaryObject(
        {generic.pdf_name("/S"): generic.pdf_name("/JavaScript")}
    )
    writer.update_root()


def a_loose_object(writer: IncrementalPdfFileWriter) -> None:
    writer.add_object(generic.StreamObject(stream_data=b"hidden"))


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (other_page, "which is no part of the seal"),
        (other_content_of_the_signed_page, "the update changes Contents of a page"),
        (other_attachment, "which is no part of the seal"),
        (another_attachment, "attaches something else than sealing.json"),
        (a_script, "the update changes OpenAction of the catalogue"),
        (a_loose_object, "which is no part of the seal"),
    ],
)
def test_an_update_that_changes_the_body_is_refused_though_it_is_signed(change, reason) -> None:  # type: ignore[no-untyped-def]
    pdf = signed_over(change)
    assert check_signature(pdf).is_whole, "the signature itself must hold, or this shows nothing"
    found = read_seal(pdf)
    assert not found.holds
    assert reason in found.fault


# ------------------------------------------------------------------ openssl as the third reader


def test_openssl_verifies_the_same_signature(tmp_path: Path) -> None:
    made = sealed_once()
    start, end = made.gap
    der = bytes.fromhex(made.pdf[start + 1 : end - 1].decode())
    length = int.from_bytes(der[2:4], "big") + 4
    (tmp_path / "sig.der").write_bytes(der[:length])
    covered = made.pdf[:start] + made.pdf[end:]
    certificate = load_der_x509_certificate(demo_signer().certificate_der)
    (tmp_path / "cert.pem").write_bytes(certificate.public_bytes(Encoding.PEM))
    for content, wanted in ((covered, True), (covered[:-1] + b"x", False)):
        (tmp_path / "content").write_bytes(content)
        ran = subprocess.run(
            [
                "openssl", "cms", "-verify", "-binary", "-inform", "DER", "-in", "sig.der", "-content",
                "content", "-CAfile", "cert.pem", "-purpose", "any", "-partial_chain", "-no_check_time",
                "-cades", "-out", "out",
            ],
            cwd=tmp_path, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert (ran.returncode == 0) is wanted, ran.stderr


def test_many_attachments_and_pages_keep_the_form() -> None:
    """Above some 30 names a PDF library splits its tree into branches; ours stays one leaf."""
    made = sealed(small_body(pages=3, files=90))
    assert read_seal(made.pdf).holds
    with pikepdf.open(io.BytesIO(made.pdf)) as pdf:
        assert len(pdf.attachments) == 91
        assert bytes(pdf.attachments["sealing.json"].get_file().read_bytes()) == SEALING
