"""Logs for tests: entries, a signer with its identity on record, heads of days."""

import json
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db import connection, transaction

from jobs.ledger.append import append
from jobs.ledger.heads import sign_head
from jobs.ledger.tree import size_of
from jobs.models import LogEntry, Organisation, SigningIdentity, TreeHead
from rules.seal.certificates import read_certificate
from rules.seal.log_proofs import entry_leaf
from tests.jobs.rows import NOON
from tests.rules.seal.certs import certificate, private_key, sign


@dataclass(frozen=True)
class TestSigner:
    """A key of the `cryptography` library; nothing of it is ours."""

    __test__ = False
    number: int = 0
    certificate_der: bytes = b""
    chain_der: tuple[bytes, ...] = ()
    is_demo: bool = False
    key_sha256: str = ""
    signed: list[bytes] = field(default_factory=list)

    def sign(self, data: bytes) -> bytes:
        self.signed.append(data)
        return sign(private_key(number=self.number), data)


def signer(number: int = 0) -> TestSigner:
    der = certificate(private_key(number=number))
    return TestSigner(number=number, certificate_der=der, key_sha256=read_certificate(der).key.sha256)


def on_record(owner: Organisation, by: TestSigner) -> None:
    """The signer's key as one of the organisation's."""
    SigningIdentity.objects.create(
        organisation=owner, home="file", reference=f"{uuid.uuid4().hex}.p12", certificate=by.certificate_der,
        key_sha256=by.key_sha256, since=NOON - timedelta(days=10), retired_at=NOON - timedelta(days=9),
    )  # fmt: skip


def write(owner: Organisation, count: int = 1, *, start: int = 0) -> LogEntry:
    """So many entries; the last one."""
    made = None
    with transaction.atomic():
        for number in range(count):
            made = append(
                organisation=owner, at=NOON, who="itolvaar", device="tablet-1", what="evidence.added",
                target=f"EM-2026-{start + number}", detail={"sha256": f"{number:064x}", "size_bytes": number},
            )  # fmt: skip
    assert made is not None
    return made


def daily(owner: Organisation, by: TestSigner | None, days: int = 0, at: datetime = NOON) -> TreeHead:
    """The head of one day over the whole log as it is."""
    moment = at + timedelta(days=days)
    return sign_head(organisation=owner, size=size_of(owner.pk), as_of=moment, signer=by, day=moment.date())


def sealing(owner: Organisation, by: TestSigner | None, at: datetime = NOON) -> TreeHead:
    """A head that goes with a packet."""
    return sign_head(organisation=owner, size=size_of(owner.pk), as_of=at, signer=by)


def leaves_of(owner: Organisation) -> list[bytes]:
    """Leaf hashes straight from the rows, by nothing but the canonical form."""

    return [
        entry_leaf(
            {
                "at": row.at, "detail": json.loads(row.detail), "device": row.device, "n": row.n,
                "organisation": str(row.organisation_id), "target": row.target, "what": row.what,
                "who": row.who,
            }
        )
        for row in LogEntry.objects.filter(organisation=owner).order_by("n")
    ]  # fmt: skip


def execute(sql: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def key_of(owner: Organisation) -> str:
    return owner.pk.hex if connection.vendor == "sqlite" else str(owner.pk)
