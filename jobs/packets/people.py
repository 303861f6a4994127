"""Whose personal data an entry of a packet holds: the keys without which its leaf cannot be guessed."""

from typing import Final

from jobs.packets.source import PacketSource
from rules.seal.entries import ORDER, part_of

# Entries of the order card and the vehicle that tell who the customer is.
_CUSTOMER_PATHS: Final = frozenset(
    {
        "order/customer_name",
        "order/customer_contact",
        "order/plate",
        "order/claim_number",
        "facts/vehicle/vin",
    }
)
# Lists of which every record may hold something of the customer: texts, positions, what a person saw.
_CUSTOMER_LISTS: Final = frozenset(
    {
        "facts/identity_readings",
        "facts/estimate_lines",
        "facts/sessions",
        "facts/scans",
        "facts/photos",
        "facts/files",
        "facts/waivers",
        "facts/refusals",
        "facts/explanations",
        "facts/statements",
        "facts/drive_logs",
        "assessment/findings",
        "assessment/procedures",
        "assessment/decisions",
    }
)
# Whole texts or hashes over what holds personal data.
_CUSTOMER_FOLDERS: Final = ("set_aside/", "files/evidence-", "production/")
_CUSTOMER_WHOLE: Final = frozenset(
    {"files/facts.json", "files/assessment.json", "assessment/facts_sha256", "assessment/names"}
)
_PEOPLE: Final = "facts/people/"


def customer_subject(job_id: str) -> str:
    """The customer of one job, whose name, contact, plate and free texts it holds."""
    return f"customer/{job_id}"


def person_subject(person_id: str) -> str:
    """One person who worked or decided."""
    return f"person/{person_id}"


def subjects_of_path(path: str, job_id: str) -> tuple[str, ...]:
    """Whose data the entry at ``path`` of a packet of this job may hold: at most one subject."""
    if path.startswith(_PEOPLE) and not path.endswith(f"/{ORDER}"):
        return (person_subject(path.removeprefix(_PEOPLE).split("/")[0]),)
    if path in _CUSTOMER_PATHS or path in _CUSTOMER_WHOLE or path.startswith(_CUSTOMER_FOLDERS):
        return (customer_subject(job_id),)
    where = "/".join(path.split("/")[:2])
    is_record = path.count("/") >= 2 and not path.endswith(f"/{ORDER}")
    if is_record and where in _CUSTOMER_LISTS and (part_of(path) or where.startswith("facts/")):
        return (customer_subject(job_id),)
    return ()


def subjects_of(source: PacketSource) -> tuple[str, ...]:
    """Every person whose key the packet's tree needs, in order."""
    found = {person_subject(person.id) for person in source.facts.people}
    return tuple(sorted(found | {customer_subject(source.facts.job_id)}))
