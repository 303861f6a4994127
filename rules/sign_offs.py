"""What a sign-off covers, and whether it is still fresh."""

from collections.abc import Iterator
from datetime import datetime

from rules.departure import departure
from rules.facts import JobFacts, Record, SignOff, live
from rules.result import SignOffState

# What a signature covers: everything that proofs rest on. Sign-offs, changes of state, certificates,
# decisions of persons and odometer readings may come later without making a signature stale. Evidence files
# that are read into a record count by that record.
_COVERED_FIELDS = (
    "identity_readings",
    "fitted_ways",
    "operations",
    "closings",
    "lookups",
    "sessions",
    "glass_sets",
    "climate_logs",
    "voltage_logs",
    "drive_logs",
    "readings",
    "scans",
    "lamp_records",
    "statements",
    "function_checks",
    "target_identities",
    "photos",
)


def coverable(facts: JobFacts, at: datetime) -> tuple[Record, ...]:
    """The live records that a sign-off given at ``at`` must cover, in the order of the facts.

    Delivery evidence, odometer readings, and what came in after departure are no part of it.
    """
    return tuple(
        record for record in _countable(facts) if record.received_at <= at and _is_live_at(record, at)
    )


def covers_of(facts: JobFacts, at: datetime) -> tuple[str, ...]:
    """The sorted SHA-256 list that a sign-off given at ``at`` covers."""
    return tuple(sorted({record.sha256 for record in coverable(facts, at)}))


def last_sign_off(facts: JobFacts, role: str) -> SignOff | None:
    """The last live sign-off of that role, by receipt."""
    found = [item for item in live(facts.sign_offs) if item.role == role]
    return max(found, key=lambda item: (item.received_at, item.at.reading, item.id), default=None)


def stale_because(sign_off: SignOff, facts: JobFacts) -> tuple[str, ...]:
    """Why the sign-off no longer stands for the record: one sentence part per item, none while it is fresh.

    Facts are those held at the gate instant. Stale: a covered item ended after it, an item was added after
    it, or an item that was there is not in its list.
    """
    reasons = []
    covered = set(sign_off.covers)
    signed_at = sign_off.received_at
    for record in _countable(facts):
        if record.ended_at is not None:
            if record.ended_at > signed_at and record.sha256 in covered:
                reasons.append(f"{name_of(record)} was {_plain_end(record)} after it")
        elif record.received_at > signed_at:
            reasons.append(f"{name_of(record)} was added after it")
        elif record.sha256 not in covered:
            reasons.append(f"{name_of(record)} is not in its list")
    return tuple(reasons)


def states(facts: JobFacts) -> tuple[SignOffState, ...]:
    """Every live sign-off in the order of receipt, with its freshness."""
    found = sorted(live(facts.sign_offs), key=lambda item: (item.received_at, item.at.reading, item.id))
    return tuple(_state(item, facts) for item in found)


def _state(sign_off: SignOff, facts: JobFacts) -> SignOffState:
    reasons = stale_because(sign_off, facts)
    held = coverable(facts, sign_off.received_at)
    covered = set(sign_off.covers)
    return SignOffState(
        sign_off_id=sign_off.id,
        role=sign_off.role,
        person=sign_off.person,
        fresh=not reasons,
        stale_because=reasons,
        covered=len([record for record in held if record.sha256 in covered]),
        coverable=len(held),
    )


def _countable(facts: JobFacts) -> Iterator[Record]:
    left = departure(facts)
    for name in _COVERED_FIELDS:
        for record in getattr(facts, name):
            if getattr(record, "stage", "") == "delivery" or getattr(record, "quantity", "") == "odometer":
                continue
            if left is not None and record.received_at > left.high:
                continue
            yield record


def _is_live_at(record: Record, at: datetime) -> bool:
    return record.ended_at is None or record.ended_at > at


def _plain_end(record: Record) -> str:
    words = {"set_aside": "set aside", "corrected": "corrected", "withdrawn": "withdrawn"}
    return words.get(record.ended_how or "", "ended")


_NAMES = {
    "IdentityReading": "vehicle identity",
    "FittedWay": "fitted system",
    "OperationDone": "operation",
    "Closing": "closing of the operation list",
    "TextLookup": "lookup of the maker's text",
    "Session": "session",
    "GlassSet": "glass setting",
    "ClimateLog": "climate log",
    "VoltageLog": "voltage log",
    "DriveLog": "drive log",
    "Reading": "reading",
    "Scan": "scan",
    "LampRecord": "lamp record",
    "Statement": "statement",
    "FunctionCheck": "function check",
    "TargetIdentity": "target identity",
    "Photo": "photo",
}


def name_of(record: Record) -> str:
    """A record in the words of a sentence: its sort, and what tells it from others of that sort."""
    kind = _NAMES.get(type(record).__name__, "record")
    detail = (
        getattr(record, "operation", "")
        or getattr(record, "sensor", "")
        or getattr(record, "quantity", "")
        or getattr(record, "stage", "")
        or getattr(record, "procedure_id", "")
        or ""
    )
    return f"{kind} {detail}".strip()
