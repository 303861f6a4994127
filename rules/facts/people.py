"""People, their qualifications, signatures and decisions."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from rules.facts.moments import Moment, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class SignOff(Record):
    role: Literal["technician", "quality_reviewer", "release"]
    person: str
    at: Moment
    covers: tuple[str, ...]
    covers_root: str
    statement_version: str
    reauthenticated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver(Record):
    procedure_id: str
    proof_id: str
    granted_by: str
    role: str
    at: Moment
    reason: str
    instead: str
    customer_told_at: Moment | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal(Record):
    procedure_id: str
    refused_by_name: str
    relation: Literal["owner", "authorised_agent", "other"]
    told_text_version: str
    systems_named: tuple[str, ...]
    lamp_state: str
    at: Moment
    witness: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation(Record):
    module: str
    code: str
    ftb: str | None
    text: str
    by: str
    role: str
    at: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Qualification(Record):
    kind: str
    issuer: str
    number: str
    issued_on: date
    expires_on: date | None
    revoked_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    id: str
    login: str
    name: str
    roles: tuple[str, ...]
    qualifications: tuple[Qualification, ...] = ()
