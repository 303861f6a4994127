"""The seal on a packet: proof from the log attached and signature set in one update; the body stays a prefix.

The signature is a PAdES one (ETSI EN 319 142-1) that certifies the file: nothing may be changed after it. Its
field is invisible, since a visible one would bring a font that is not embedded, and PDF/A forbids that.
"""

import asyncio
import hashlib
import io
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from asn1crypto import algos, cms, x509
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.embed import EmbeddedFileObject, EmbeddedFileParams, FileSpec
from pyhanko.pdf_utils.generic import pdf_name
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign.fields import MDPPerm, SigFieldSpec, SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner
from pyhanko.sign.signers import Signer as CmsSigner
from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes
from pyhanko.sign.timestamps import TimeStamper
from pyhanko_certvalidator.registry import SimpleCertificateStore

from jobs.signing.signer import Signer
from jobs.signing.time_authority import Authority, TimeStampUnavailable, time_stamp

SEALING_NAME: Final = "sealing.json"
FIELD_NAME: Final = "Seal"
# Octets of a signature beside its certificates, and of a time stamp with its own.
CMS_BYTES: Final = 4096
TOKEN_BYTES: Final = 12288


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """How a packet is signed.

    Attributes:
        signer: the organisation's key.
        at: the time the signature claims (UTC).
        organisation: whose signature it is, in words.
        authority: where a time stamp is asked for; None: none is.
        reason: what the signature is for, in words.
    """

    signer: Signer
    at: datetime
    organisation: str
    authority: Authority | None = None
    reason: str = "Packet sealed"


def seal_pdf(body: bytes, sealing: bytes, *, dated: datetime, seal: Seal | None) -> bytes:
    """The body with ``sealing.json`` attached and, where there is a key, the signature over all of it.

    Args:
        body: the finished pages and attachments; they are an exact prefix of what comes out.
        sealing: canonical JSON of the proof from the log.
        dated: the date that the attachment carries (UTC).
        seal: None where the organisation has no key: nothing is signed then.

    Raises:
        jobs.signing.signer.SigningKeyUnavailable: the key does not answer.
    """
    if seal is None:
        return _written(_with_sealing(body, sealing, dated))
    try:
        return _signed(body, sealing, dated, seal, seal.authority)
    except TimeStampUnavailable:
        # A packet never waits for a time stamp; one is asked for later and kept beside the file.
        return _signed(body, sealing, dated, seal, None)


def _signed(body: bytes, sealing: bytes, dated: datetime, seal: Seal, authority: Authority | None) -> bytes:
    writer = _with_sealing(body, sealing, dated)
    details = PdfSignatureMetadata(
        field_name=FIELD_NAME,
        md_algorithm="sha256",
        name=seal.organisation,
        reason=seal.reason,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
        subfilter=SigSeedSubFilter.PADES,
    )
    signer = PdfSigner(
        details,
        _OurSigner(seal.signer),
        timestamper=None if authority is None else _OurStamper(authority),
        new_field_spec=SigFieldSpec(FIELD_NAME),
    )
    chain = seal.signer.chain_der
    octets = CMS_BYTES + len(seal.signer.certificate_der) + sum(len(one) for one in chain)
    octets += TOKEN_BYTES if authority is not None else 0
    out = io.BytesIO()
    asyncio.run(_sign(signer, writer, seal.at, octets, out))
    return out.getvalue()


async def _sign(
    signer: PdfSigner, writer: IncrementalPdfFileWriter, at: datetime, octets: int, out: io.BytesIO
) -> None:
    session = signer.init_signing_session(writer)
    # Ours, not the machine's: what a demonstration does with its clock shows in the signature too.
    session.system_time = at
    prepared = session.prepare_tbs_document(validation_info=None, bytes_reserved=2 * octets)
    digest, _ = prepared.digest_tbs_document(output=out)
    await prepared.perform_signature(
        document_digest=digest.document_digest, pdf_cms_signed_attrs=PdfCMSSignedAttributes(signing_time=at)
    )


# ------------------------------------------------------------------ the update


class _Update(IncrementalPdfFileWriter):
    """An update whose bytes follow from what goes in: no clock, nothing random, headers as they were."""

    def _update_meta(self) -> None:
        """Date and producer stay those of the body."""


def _with_sealing(body: bytes, sealing: bytes, dated: datetime) -> IncrementalPdfFileWriter:
    writer = _Update(io.BytesIO(body))
    marked = hashlib.sha256(hashlib.sha256(body).digest() + sealing).digest()[:16]
    writer._document_id[1] = generic.ByteStringObject(marked)
    stream = EmbeddedFileObject.from_file_data(
        writer,
        sealing,
        compress=False,
        params=EmbeddedFileParams(creation_date=dated, modification_date=dated),
        mime_type="application/json",
    )
    spec = FileSpec(
        file_spec_string=SEALING_NAME,
        file_name=SEALING_NAME,
        embedded_data=stream,
        description="The packet's entry in the log, the proof that it is there, and the signed head",
        af_relationship=pdf_name("/Data"),
    )
    _list(writer, writer.add_object(spec.as_pdf_object()))
    return writer


def _list(writer: IncrementalPdfFileWriter, spec: generic.IndirectObject) -> None:
    """Puts the attachment into the name tree, in its order, and once into the associated files."""
    root = writer.root
    names = root["/Names"]["/EmbeddedFiles"]["/Names"]
    place = 0
    while place < len(names) and str(names[place]) < SEALING_NAME:
        place += 2
    names[place:place] = [generic.pdf_string(SEALING_NAME), spec]
    root["/AF"].append(spec)
    for changed in (names, root["/AF"]):
        writer.update_container(changed)


def _written(writer: IncrementalPdfFileWriter) -> bytes:
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


# ------------------------------------------------------------------ key and time stamp, as the library asks


class _OurSigner(CmsSigner):
    """Hands what is to be signed to the organisation's key."""

    def __init__(self, key: Signer) -> None:
        self.key = key
        chain = SimpleCertificateStore()
        chain.register_multiple(x509.Certificate.load(one) for one in key.chain_der)
        super().__init__(
            signing_cert=x509.Certificate.load(key.certificate_der),
            cert_registry=chain,
            signature_mechanism=algos.SignedDigestAlgorithm({"algorithm": "sha256_rsa"}),
            embed_roots=True,
        )

    async def async_sign_raw(self, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        if digest_algorithm != "sha256":
            raise ValueError("packets are signed with SHA-256")
        return self.key.sign(data)


class _OurStamper(TimeStamper):
    """Asks our own client, which looks at addresses, time and size."""

    def __init__(self, authority: Authority) -> None:
        super().__init__()
        self.authority = authority

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        if md_algorithm != "sha256":
            raise ValueError("time stamps are over SHA-256")
        return cms.ContentInfo.load(time_stamp(message_digest, self.authority))
