"""The signature of a packet as a second library sees it: whole, by whom, believed or not, which PAdES level.

``rules.seal.pdf_seal`` checks with the standard library alone; this checks with pyHanko, which also follows
certificates to a root and looks into time stamps. Neither uses anything of the other.
"""

import asyncio
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from asn1crypto import pem, x509
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.pdf_embedded import EmbeddedPdfSignature
from pyhanko.sign.validation.settings import KeyUsageConstraints
from pyhanko.sign.validation.status import PdfSignatureStatus
from pyhanko_certvalidator import ValidationContext

from jobs.errors import Refused
from jobs.signing.signer import key_sha256_of

# ETSI EN 319 142-1: a signature with the signer's certificate protected, and one with a trusted time besides.
BASIC: Final = "B-B"
TIMED: Final = "B-T"


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureReport:
    """What validation found; computed from the file, never from settings.

    Attributes:
        is_signed: whether there is a signature.
        is_whole: the signature holds and covers the entire file, and nothing was changed after it.
        is_trusted: the certificate is, or leads to, one of those given.
        key_sha256: of the signer's key; empty without a signature.
        subject: the certificate's subject in words.
        claimed_at: the time that the signer gives.
        stamped_at: the time of a time stamp that holds and whose authority is believed; None otherwise.
        pades_level: ``B-B``, ``B-T`` or empty, see ETSI EN 319 142-1.
        fault: why it is not whole, in words; empty otherwise.
    """

    is_signed: bool
    is_whole: bool = False
    is_trusted: bool = False
    key_sha256: str = ""
    subject: str = ""
    claimed_at: datetime | None = None
    stamped_at: datetime | None = None
    pades_level: str = ""
    fault: str = ""


def read_certificates(file: Path) -> tuple[bytes, ...]:
    """The certificates of a PEM or DER file, as DER.

    Raises:
        Refused: ``certificate_unreadable``.
    """
    try:
        data = file.read_bytes()
        if not pem.detect(data):
            return (x509.Certificate.load(data, strict=True).dump(),)
        found = tuple(der for kind, _, der in pem.unarmor(data, multiple=True) if kind == "CERTIFICATE")
        for der in found:
            x509.Certificate.load(der, strict=True).native  # noqa: B018 - reading all of it is the check
    except (OSError, ValueError, TypeError) as error:
        raise Refused("certificate_unreadable", f"{file.name} holds no certificate.") from error
    return found


def check_signature(
    pdf: bytes, *, trusted: Sequence[bytes] = (), authorities: Sequence[bytes] = ()
) -> SignatureReport:
    """Validates the one signature of a packet.

    Args:
        pdf: the file.
        trusted: certificates (DER) that are believed: of the signer, or of who issued his.
        authorities: certificates (DER) of time-stamping authorities, or their issuers, that are believed.
    """
    try:
        found = PdfFileReader(io.BytesIO(pdf), strict=True).embedded_regular_signatures
        if not found:
            return SignatureReport(is_signed=False)
        if len(found) > 1:
            return SignatureReport(is_signed=True, fault="there is more than one signature")
        signature: EmbeddedPdfSignature = found[0]
        status = asyncio.run(_validated(signature, trusted, authorities))
    except (PdfError, SignatureValidationError, SigningError, ValueError, TypeError, KeyError) as error:
        return SignatureReport(is_signed=True, fault=f"it cannot be validated: {str(error)[:200]}")
    return _report(signature, status)


async def _validated(
    signature: EmbeddedPdfSignature, trusted: Sequence[bytes], authorities: Sequence[bytes]
) -> PdfSignatureStatus:
    claimed = _claimed_at(signature)
    # Nothing is fetched: what a check finds does not depend on the network.
    context = ValidationContext(
        trust_roots=[x509.Certificate.load(one) for one in trusted], allow_fetching=False, moment=claimed
    )
    stamps = ValidationContext(
        trust_roots=[x509.Certificate.load(one) for one in authorities], allow_fetching=False
    )
    return await async_validate_pdf_signature(
        signature,
        signer_validation_context=context,
        ts_validation_context=stamps,
        # One of the two, as certificates of the standards have it; neither is asked for beyond that.
        key_usage_settings=KeyUsageConstraints(
            key_usage={"digital_signature", "non_repudiation"}, match_all_key_usages=False
        ),
    )


def _claimed_at(signature: EmbeddedPdfSignature) -> datetime | None:
    claimed = signature.self_reported_timestamp
    return claimed.astimezone(UTC) if claimed is not None else None


def _report(signature: EmbeddedPdfSignature, status: PdfSignatureStatus) -> SignatureReport:
    fault = _fault(status)
    certificate: Any = status.signing_cert
    stamped_at = _stamped_at(status)
    level = ""
    if not fault and str(signature.sig_object["/SubFilter"]) == "/ETSI.CAdES.detached":
        level = TIMED if stamped_at is not None else BASIC
    return SignatureReport(
        is_signed=True,
        is_whole=not fault,
        is_trusted=not fault and status.trusted,
        key_sha256=key_sha256_of(certificate.dump()),
        subject=certificate.subject.human_friendly,
        claimed_at=_claimed_at(signature),
        stamped_at=stamped_at,
        pades_level=level,
        fault=fault,
    )


def _fault(status: PdfSignatureStatus) -> str:
    if not status.intact:
        return "the file is not the one that was signed"
    if not status.valid:
        return "the signature does not hold"
    if status.coverage is None or status.coverage.name != "ENTIRE_FILE":
        return "the signature does not cover the entire file"
    if status.modification_level is None or status.modification_level.name != "NONE":
        return "the file was changed after it was signed"
    return ""


def _stamped_at(status: PdfSignatureStatus) -> datetime | None:
    stamp = status.timestamp_validity
    if stamp is None or not (stamp.intact and stamp.valid and stamp.trusted):
        return None
    at: datetime = stamp.timestamp
    return at.astimezone(UTC)
