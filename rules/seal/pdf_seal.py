"""The signature on a packet, checked with the standard library alone (ISO 32000-1, 12.8; ETSI EN 319 142-1).

It is found along one way only: last table, catalogue, form, its one field, the field's value. It has to cover
every byte of the file but the hexadecimal string that it stands in itself; nothing may follow it, and the
update it came with may do nothing but attach the proof from the log and set it.
"""

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from rules.seal.certificates import Certificate
from rules.seal.pdf_file import Indirect, PdfFile, read_file
from rules.seal.pdf_objects import PdfFault, Ref
from rules.seal.pdf_update import require_only_sealing
from rules.seal.signed_data import SignatureFault, SignedBy, check_signature

SUB_FILTER: Final = "ETSI.CAdES.detached"
MOST_SIGNATURE_BYTES: Final = 1 << 20
_CONTENTS: Final = re.compile(rb"<(?:[0-9A-F]{2})+>")
_CLAIMED: Final = re.compile(rb"D:([0-9]{14})Z")
_SIGNATURE_KEYS: Final = frozenset(
    {"Contents", "ByteRange", "Type", "Filter", "SubFilter", "M", "Name", "Reason", "Reference"}
)
_CERTIFIED: Final = [
    {
        "Type": "SigRef",
        "TransformMethod": "DocMDP",
        "TransformParams": {"Type": "TransformParams", "V": "1.2", "P": 1},
    }
]


@dataclass(frozen=True, slots=True, kw_only=True)
class SealFound:
    """What the signature of a file shows.

    Attributes:
        fault: why it does not hold, in plain words; empty where it holds, or where there is none.
        is_signed: whether there is a signature at all.
        certificate: the signer's; None without a signature that holds. Whose it is must be compared with a
            key that is known from elsewhere.
        chain: the other certificates that came with it; nothing of them is signed.
        claimed_at: the time the signer gives for it (UTC); he could have given any.
        time_stamp: token (RFC 3161, DER) over the signature, not looked into; empty where there is none.
        signed_name: whose signature it calls itself.
        body_bytes: how long the first part of the file is: pages and attachments before sealing.
        later_bytes: how many bytes follow what is signed.
    """

    fault: str = ""
    is_signed: bool = False
    certificate: Certificate | None = None
    chain: tuple[Certificate, ...] = ()
    claimed_at: datetime | None = None
    time_stamp: bytes = b""
    signed_name: str = ""
    body_bytes: int = 0
    later_bytes: int = 0

    @property
    def holds(self) -> bool:
        """Whether there is a signature and it covers this whole file."""
        return self.is_signed and not self.fault

    @property
    def key_sha256(self) -> str:
        """SHA-256 of the signer's public key (SubjectPublicKeyInfo, DER); empty without one."""
        if self.certificate is None:
            return ""
        return hashlib.sha256(self.certificate.spki_der).hexdigest()

    @property
    def is_self_issued(self) -> bool:
        """Whether nobody but the key itself says whose it is."""
        return self.certificate is not None and self.certificate.is_self_issued


def read_seal(pdf: bytes) -> SealFound:
    """Looks for the signature of a packet and checks it. Never raises for what stands in the file."""
    try:
        file = read_file(pdf)
    except PdfFault as fault:
        return SealFound(fault=str(fault))
    body_bytes = file.revisions[0].end
    try:
        signature = _signature(file)
    except PdfFault as fault:
        return SealFound(fault=str(fault), is_signed=True, body_bytes=body_bytes)
    if signature is None:
        return SealFound(fault=_fault_of_unsigned(file), body_bytes=body_bytes)
    later = _later_bytes(file, signature)
    try:
        return _checked(file, signature, body_bytes)
    except (PdfFault, SignatureFault) as fault:
        return SealFound(fault=str(fault), is_signed=True, body_bytes=body_bytes, later_bytes=later)


def body_sha256(pdf: bytes, body_bytes: int) -> str:
    """SHA-256 of the first ``body_bytes`` of a file, in hex; empty where it is shorter."""
    if not 0 < body_bytes <= len(pdf):
        return ""
    return hashlib.sha256(memoryview(pdf)[:body_bytes]).hexdigest()


def _fault_of_unsigned(file: PdfFile) -> str:
    if len(file.revisions) == 1:
        return ""
    try:
        require_only_sealing(file, None)
    except PdfFault as fault:
        return str(fault)
    return ""


def _signature(file: PdfFile) -> Ref | None:
    """The reference to the one signature, along catalogue, form and field; None where there is no form."""
    root = file.dictionary(file.trailer.get("Root"))
    if "AcroForm" not in root:
        if "Perms" in root:
            raise PdfFault("the file names a signature but has no field for it")
        return None
    fields = file.array(file.dictionary(root["AcroForm"]).get("Fields"))
    if len(fields) != 1:
        raise PdfFault("the file has not exactly one field")
    field = file.dictionary(fields[0])
    signature = field.get("V")
    if field.get("FT") != "Sig" or not isinstance(signature, Ref) or "Kids" in field:
        raise PdfFault("the field of the file holds no signature")
    return signature


def _later_bytes(file: PdfFile, signature: Ref) -> int:
    try:
        told = _numbers(file.read(signature).value)
    except PdfFault:
        return 0
    return max(0, len(file.data) - told[2] - told[3])


def _checked(file: PdfFile, signature: Ref, body_bytes: int) -> SealFound:
    held = file.read(signature)
    told = _require_form(held)
    digest = _covered(file.data, held)
    signed_by = check_signature(_contents(file.data, held), digest)
    require_only_sealing(file, signature)
    claimed_at = _claimed(told)
    if not signed_by.certificate.covers(claimed_at):
        raise SignatureFault("the certificate was not valid at the time that the signature gives")
    return _found(signed_by, told, claimed_at, body_bytes)


def _found(signed_by: SignedBy, told: dict[str, Any], claimed_at: datetime, body_bytes: int) -> SealFound:
    name = told.get("Name")
    return SealFound(
        is_signed=True,
        certificate=signed_by.certificate,
        chain=signed_by.others,
        claimed_at=claimed_at,
        time_stamp=signed_by.time_stamp,
        signed_name=_text(name) if isinstance(name, bytes) else "",
        body_bytes=body_bytes,
    )


def _require_form(held: Indirect) -> dict[str, Any]:
    told = held.value
    if not isinstance(told, dict):
        raise PdfFault("the signature is no dictionary")
    if (told.get("Type"), told.get("SubFilter")) != ("Sig", SUB_FILTER):
        raise PdfFault("the signature is not one of the form that packets have")
    if not told.keys() <= _SIGNATURE_KEYS:
        raise PdfFault("the signature says more than a packet's does")
    if told.get("Reference") != _CERTIFIED:
        raise PdfFault("the signature does not forbid later changes")
    return told


def _numbers(told: Any) -> tuple[int, int, int, int]:
    numbers = told.get("ByteRange") if isinstance(told, dict) else None
    if not isinstance(numbers, list) or len(numbers) != 4:
        raise PdfFault("the signature does not say in two pieces what it covers")
    first, before, second, after = numbers
    if not all(type(number) is int and number >= 0 for number in (first, before, second, after)):
        raise PdfFault("the signature covers something impossible")
    return first, before, second, after


def _covered(data: bytes, held: Indirect) -> bytes:
    """SHA-256 of all that is signed: every byte but the string that the signature stands in."""
    first, before, second, after = _numbers(held.value)
    if "Contents" not in held.spots:
        raise PdfFault("the signature is empty")
    start, end = held.spots["Contents"]
    if second + after != len(data):
        raise PdfFault(
            "something was added after the signature"
            if second + after < len(data)
            else "the signature covers more than there is"
        )
    if (first, before, second) != (0, start, end):
        raise PdfFault("the signature leaves out more than itself")
    digest = hashlib.sha256(memoryview(data)[:before])
    digest.update(memoryview(data)[second:])
    return digest.digest()


def _contents(data: bytes, held: Indirect) -> bytes:
    """The signature (DER) without the zeros that fill its place."""
    start, end = held.spots["Contents"]
    if end - start > 2 * MOST_SIGNATURE_BYTES or _CONTENTS.fullmatch(data, start, end) is None:
        raise PdfFault("the signature is no hexadecimal string of the form that packets have")
    octets: bytes = held.value["Contents"]
    length = _der_length(octets)
    if any(octets[length:]):
        raise PdfFault("something stands behind the signature in its place")
    return octets[:length]


def _der_length(octets: bytes) -> int:
    """How long the one DER value is that ``octets`` begin with (X.690 section 8.1.3)."""
    count = octets[1] & 0x7F if len(octets) > 1 else 0
    if octets[:1] != b"\x30" or not octets[1] & 0x80 or not 1 <= count <= 4:
        raise SignatureFault("the signature is not strict DER")
    return 2 + count + int.from_bytes(octets[2 : 2 + count], "big")


def _claimed(told: dict[str, Any]) -> datetime:
    found = _CLAIMED.fullmatch(told["M"]) if isinstance(told.get("M"), bytes) else None
    if found is None:
        raise PdfFault("the signature gives no time")
    try:
        return datetime.strptime(found[1].decode("ascii"), "%Y%m%d%H%M%S").replace(tzinfo=UTC)
    except ValueError as error:
        raise PdfFault("the signature gives an impossible time") from error


def _text(raw: bytes) -> str:
    """A text string (ISO 32000-1, 7.9.2.2): UTF-16 where it begins so, else one byte a letter."""
    if raw.startswith(b"\xfe\xff"):
        return raw[2:].decode("utf-16-be", "replace")
    return raw.decode("latin-1")
