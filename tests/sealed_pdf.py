"""A small packet body and its seal, for tests that need the form and not the pages; keys made once a run."""

import io
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache

import pikepdf
from cryptography.hazmat.primitives.serialization import Encoding, pkcs12
from pikepdf import AttachedFileSpec, Dictionary, Name, Pdf

from jobs.packets.finish import list_associated_files
from jobs.packets.seal import Seal, seal_pdf
from jobs.signing.demo_key import demo_key_file
from jobs.signing.key_file import KeyFileSigner
from jobs.signing.signer import key_sha256_of
from jobs.signing.time_authority import Authority

AT = datetime(2026, 5, 5, 17, 20, 0, tzinfo=UTC)
SEALING = b'{"format":"sealing 1","n":7}'
OWNER = "Brackwater Repair Group"


@cache
def demo_signer(name: str = OWNER) -> KeyFileSigner:
    key, certificate, _ = pkcs12.load_key_and_certificates(demo_key_file(name, AT), None)
    assert certificate is not None
    der = certificate.public_bytes(Encoding.DER)
    return KeyFileSigner(
        key=key,  # type: ignore[arg-type]  # the demonstration key is RSA
        certificate_der=der,
        chain_der=(),
        key_sha256=key_sha256_of(der),
        is_demo=True,
    )


@cache
def small_body(pages: int = 2, files: int = 3) -> bytes:
    """Pages and attachments in the form that rendering gives, without anything to read on them."""
    pdf = Pdf.new()
    for number in range(pages):
        pdf.add_blank_page(page_size=(595, 842))
        content = (
            f"BT (page {number + 1}) ' ET % ".encode() + bytes(range(1, 200)).replace(b"\n", b"") + b"\n"
        )
        pdf.pages[-1].obj.Contents = pdf.make_stream(content)
    for number in range(files):
        name = f"part-{number:04d}.json"
        pdf.attachments[name] = AttachedFileSpec(
            pdf,
            b'{"number":%d,"text":"startxref /ByteRange [0 1 2 3] endobj"}' % number,
            filename=name,
            mime_type="application/json",
            relationship=Name.Data,
            creation_date="D:20260505172000Z",
            mod_date="D:20260505172000Z",
        )
    pdf.Root.MarkInfo = Dictionary(Marked=True)
    pdf.docinfo["/Title"] = "packet"
    list_associated_files(pdf)
    return saved(pdf)


def saved(pdf: pikepdf.Pdf) -> bytes:
    out = io.BytesIO()
    pdf.save(
        out,
        deterministic_id=True,
        compress_streams=False,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
        force_version="1.7",
    )
    return out.getvalue()


@dataclass(frozen=True)
class Made:
    """A sealed file and the body it begins with."""

    pdf: bytes
    body: bytes

    @property
    def gap(self) -> tuple[int, int]:
        """Where the signature's own string begins and ends, found by its bytes alone."""
        start = self.pdf.rindex(b"/Contents <", len(self.body)) + len(b"/Contents ")
        return start, self.pdf.index(b">", start) + 1


def sealed(body: bytes | None = None, authority: Authority | None = None, **seal: object) -> Made:
    found = small_body() if body is None else body
    fields: dict[str, object] = {"signer": demo_signer(), "at": AT, "organisation": OWNER}
    made = Seal(**{**fields, **seal}, authority=authority)  # type: ignore[arg-type]
    return Made(pdf=seal_pdf(found, SEALING, dated=AT, seal=made), body=found)


@cache
def sealed_once() -> Made:
    return sealed()
