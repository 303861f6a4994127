"""A time-stamp token (RFC 3161) beside a packet, validated: over which hash, when, by whom."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from asn1crypto import cms, x509
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
from pyhanko.sign.validation.status import TimestampSignatureStatus
from pyhanko_certvalidator import ValidationContext


@dataclass(frozen=True, slots=True, kw_only=True)
class StampReport:
    """``at`` is the authority's time (UTC), None where the token does not hold; ``fault`` says why."""

    at: datetime | None = None
    authority: str = ""
    fault: str = ""

    @property
    def holds(self) -> bool:
        return self.at is not None and not self.fault


def check_time_stamp(token: bytes, digest: bytes, authorities: Sequence[bytes]) -> StampReport:
    """Validates a token over a SHA-256 digest.

    Args:
        token: the TimeStampToken (CMS, DER).
        digest: 32 bytes that it must be over.
        authorities: certificates (DER) of authorities, or their issuers, that are believed.
    """
    try:
        signed = cms.ContentInfo.load(token, strict=True)["content"]
        status = asyncio.run(_validated(signed, digest, authorities))
    except (SignatureValidationError, SigningError, ValueError, TypeError, KeyError) as error:
        return StampReport(fault=f"it cannot be validated: {str(error)[:200]}")
    if not (status.intact and status.valid):
        return StampReport(fault="it is over something else, or its signature does not hold")
    if not status.trusted:
        return StampReport(fault="its authority is not one that is believed")
    certificate: Any = status.signing_cert
    return StampReport(at=status.timestamp.astimezone(UTC), authority=certificate.subject.human_friendly)


async def _validated(
    signed: cms.SignedData, digest: bytes, authorities: Sequence[bytes]
) -> TimestampSignatureStatus:
    context = ValidationContext(
        trust_roots=[x509.Certificate.load(one) for one in authorities], allow_fetching=False
    )

    def imprint(algorithm: str) -> bytes:
        return digest if algorithm == "sha256" else b""

    return TimestampSignatureStatus(**await validate_tst_signed_data(signed, context, imprint))
