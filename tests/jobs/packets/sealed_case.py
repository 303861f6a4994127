"""A packet sealed, signed and bundled without a database, every step open, so that tests can forge it too."""

import hashlib
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509.oid import NameOID

from jobs.packets.build import BuiltPacket
from jobs.packets.bundle import BundleContents, Written, write_bundle
from jobs.packets.seal import Seal, seal_pdf
from jobs.packets.source import PacketSource
from rules.canonical import canonical_bytes, sha256_hex
from rules.seal.log_proofs import consistency_proof, entry_leaf, inclusion_proof, reader_of, root_of
from rules.seal.tree_head import TreeHead
from tests.jobs.packets.packet_case import Store, built

ORGANISATION = "0b6c1d1e-5a0f-4c55-9d3a-417041704170"
AT = datetime(2026, 5, 5, 17, 0, tzinfo=UTC)


class TestSigner:
    """An RSA key of its own with a certificate that it signed itself."""

    __test__ = False

    def __init__(self, name: str, *, is_demo: bool = False) -> None:
        self._key = rsa.generate_private_key(public_exponent=65537, key_size=2048)
        self.is_demo = is_demo
        self.chain_der: tuple[bytes, ...] = ()
        self.certificate_der = _certificate(self._key, name)
        public = self._key.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
        self.key_sha256 = hashlib.sha256(public).hexdigest()

    def sign(self, data: bytes) -> bytes:
        return self._key.sign(data, padding.PKCS1v15(), hashes.SHA256())


def _certificate(key: rsa.RSAPrivateKey, name: str) -> bytes:
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    usage = x509.KeyUsage(True, True, False, False, False, False, False, False, False)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(417)
        .not_valid_before(AT - timedelta(days=100))
        .not_valid_after(AT + timedelta(days=1000))
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )
    return made.public_bytes(Encoding.DER)


@cache
def signer() -> TestSigner:
    """The workshop's key."""
    return TestSigner("Brackwater Repair Group, packets")


@cache
def thief() -> TestSigner:
    """A key of somebody else with the same words in its certificate."""
    return TestSigner("Brackwater Repair Group, packets")


def instant(minutes: int) -> str:
    return (AT + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


@dataclass(frozen=True)
class Log:
    """A log as a row of entries; each step gives a longer one."""

    entries: tuple[dict[str, Any], ...] = ()

    def plus(self, what: str, detail: Mapping[str, Any]) -> "Log":
        n = len(self.entries) + 1
        entry = {
            "at": instant(n),
            "detail": dict(detail),
            "device": "",
            "n": n,
            "organisation": ORGANISATION,
            "target": "job/417",
            "what": what,
            "who": "packet",
        }
        return Log((*self.entries, entry))

    def head(self, size: int) -> TreeHead:
        return TreeHead(
            organisation=ORGANISATION, size=size, root=root_of(self._read(), size).hex(), at=instant(size)
        )

    def inclusion(self, n: int, size: int) -> list[str]:
        return [step.hex() for step in inclusion_proof(self._read(), n - 1, size)]

    def consistency(self, first: int, second: int) -> list[str]:
        return [step.hex() for step in consistency_proof(self._read(), first, second)]

    def _read(self) -> Any:
        return reader_of([entry_leaf(entry) for entry in self.entries])

    def chained(self) -> list[dict[str, Any]]:
        rows, prev = [], "00" * 32
        for entry in self.entries:
            text = canonical_bytes(entry)
            found = hashlib.sha256(bytes.fromhex(prev) + text).hexdigest()
            rows.append({"n": entry["n"], "entry": text.decode(), "prev": prev, "hash": found})
            prev = found
        return rows


def signed_head(head: TreeHead, by: TestSigner | None) -> dict[str, Any]:
    return {
        "head": head.plain(),
        "head_signature": by.sign(head.signed_bytes()).hex() if by is not None else "",
        "certificate": by.certificate_der.hex() if by is not None else "",
    }


# Five acts of other jobs, a head handed outside, and one more act, stand before the sealing.
BEFORE = Log()
for _what in (
    "job.opened",
    "evidence.added",
    "evidence.added",
    "review.signed",
    "job.released",
    "clock.observed",
):
    BEFORE = BEFORE.plus(_what, {"job": "417"})
HANDED_OUTSIDE = 5


@dataclass(frozen=True, kw_only=True)
class Case:
    """A packet from its source to its bundle; ``fields`` replace what the log entry says."""

    source: PacketSource
    store: Store
    by: TestSigner | None = field(default_factory=signer)
    fields: Mapping[str, Any] = field(default_factory=dict)
    additions: tuple[tuple[str, str], ...] = (
        ("look_back", "A certificate came."),
        ("comeback", "It came again."),
    )
    body: BuiltPacket | None = None
    # The packet that a redacted one is made from: its log goes on.
    origin: "Sealed | None" = None

    def built(self) -> BuiltPacket:
        return self.body or built(self.source, self.store)


@dataclass(frozen=True, kw_only=True)
class Sealed:
    """All that a bundle is made of."""

    case: Case
    log: Log
    n: int
    sealing: dict[str, Any]
    pdf: bytes
    additions: dict[str, bytes]
    extract: bytes | None
    deleted: tuple[str, ...] = ()

    def with_changes(self, **changes: Any) -> "Sealed":
        return replace(self, **changes)

    def bundle(self, target: Path) -> Written:
        contents = BundleContents(
            serial=self.case.source.own_serial,
            organisation=self.case.source.organisation_name,
            bagged_on="2026-05-05",
            pdf=self.pdf,
            stored=self.case.store.path,
            additions=self.additions,
            extract=self.extract,
            deleted=self.deleted,
        )
        return write_bundle(contents, target)


def sealed(case: Case) -> Sealed:
    """Seals, signs and adds to, as the services do."""
    body = case.built()
    log = (case.origin.log if case.origin is not None else BEFORE).plus("packet.sealed", _detail(case, body))
    n = len(log.entries)
    sealing = sealing_of(log, n, case.by)
    pdf = signed_pdf(body.pdf, sealing, case.by)
    what = "packet.signed" if case.by is not None else "packet.left_unsigned"
    log = log.plus(what, {"packet": case.source.own_serial, "pdf_sha256": sha256_hex(pdf)})
    made = additions_of(case, body.root, sha256_hex(pdf))
    for number, data in enumerate(made.values(), start=1):
        detail = {"packet": case.source.own_serial, "number": number, "sha256": sha256_hex(data)}
        log = log.plus("packet.added_to", detail)
    return Sealed(
        case=replace(case, body=body),
        log=log,
        n=n,
        sealing=sealing,
        pdf=pdf,
        additions=made,
        extract=extract_of(log, n, case),
    )


def _detail(case: Case, body: BuiltPacket) -> dict[str, Any]:
    told = {
        "packet": case.source.own_serial,
        "job": "417",
        "id": "0b6c1d1e-0000-4c55-9d3a-417041704170",
        "kind": case.source.own_kind,
        "root": body.root,
        "manifest_sha256": body.manifest.sha256,
        "body_sha256": sha256_hex(body.pdf),
        "body_bytes": len(body.pdf),
        "source_leaf": "5a" * 32,
    }
    if case.source.redaction is not None:
        told["redaction_sha256"] = sha256_hex(case.source.redaction.text.encode())
        told["derived_from"] = case.source.redaction.of
    return {**told, **case.fields}


def sealing_of(log: Log, n: int, by: TestSigner | None) -> dict[str, Any]:
    """As ``jobs.ledger.sealing`` makes it."""
    earlier = signed_head(log.head(HANDED_OUTSIDE), by)
    return {
        "format": "sealing 1",
        "entry": canonical_bytes(log.entries[n - 1]).decode(),
        "n": n,
        "log_proof": log.inclusion(n, n),
        **signed_head(log.head(n), by),
        "chain": [],
        "is_demo": by is not None and by.is_demo,
        "earlier": {**earlier, "consistency": log.consistency(HANDED_OUTSIDE, n)},
    }


def signed_pdf(body: bytes, sealing: dict[str, Any], by: TestSigner | None) -> bytes:
    seal = None if by is None else Seal(signer=by, at=AT + timedelta(minutes=30), organisation="Brackwater")
    # In a thread of its own: a browser's driver runs a loop in this one, and signing wants to run one too.
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(seal_pdf, body, canonical_bytes(sealing), dated=AT, seal=seal).result()


def additions_of(case: Case, root: str, pdf_sha256: str) -> dict[str, bytes]:
    made: dict[str, bytes] = {}
    previous = ""
    for number, (kind, text) in enumerate(case.additions, start=1):
        data = canonical_bytes(
            {
                "format": "addition 1",
                "packet": case.source.own_serial,
                "number": number,
                "kind": kind,
                "at": instant(100 + number),
                "text": text,
                "facts": {},
                "sealed": {"root": root, "pdf_sha256": pdf_sha256},
                "previous": previous,
            }
        )
        made[f"addition-{number:04d}.json"] = data
        previous = sha256_hex(data)
    return made


def extract_of(log: Log, n: int, case: Case) -> bytes:
    """As ``jobs.packets.log_extract`` makes it, under a head of all but the last entry."""
    size = max(n, len(log.entries) - 1)
    rows = [
        {**row, "proof": log.inclusion(row["n"], size) if row["n"] <= size else []}
        for row in log.chained()
        if row["n"] >= n or (case.origin is not None and row["n"] == case.origin.n)
    ]
    plain = {
        "format": "log extract 1",
        "packet": case.source.own_serial,
        "entries": rows,
        **signed_head(log.head(size), case.by),
        "is_demo": case.by is not None and case.by.is_demo,
        "consistency": log.consistency(n, size),
    }
    return canonical_bytes(plain)
