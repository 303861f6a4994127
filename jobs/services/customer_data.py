"""Blanking what the record's own rows hold of a customer, and shortening addresses of downloads."""

import json
import re
from datetime import datetime
from typing import Any, Final

from jobs.models import (
    Assessment,
    CopyTransfer,
    Deletion,
    FactsOnFile,
    Job,
    Organisation,
    Packet,
    PacketDownload,
    Refusal,
    RepairOrder,
    Vehicle,
)
from jobs.selectors.deletions import note_of_packet
from jobs.selectors.download_addresses import old_addresses, shortened
from jobs.services.answers import forget_answers_about
from jobs.services.person_keys import destroy
from jobs.services.retention_plan import ERASED
from jobs.services.retention_policy import rules_of

KEY_SUBJECT: Final = "customer/{job}"
_CODE: Final = re.compile(r"[a-z0-9_]+")


def blank_customer(row: Deletion, *, as_of: datetime) -> None:
    """Blanks name, contact and plate, a refuser's name, and kept facts and results that hold such a name.

    Hashes stay. The key of the customer is destroyed for an erasure, and once no unredacted file of a packet
    is left.
    """
    if row.job_id is None:
        raise ValueError("a deletion of a customer's data names the job")
    job = Job.objects.select_related("order__vehicle", "organisation").get(pk=row.job_id)
    order, car = job.order, job.order.vehicle
    refusals = Refusal.objects.filter(job=job)
    names = {order.customer_name, *refusals.values_list("refused_by_name", flat=True)} - {ERASED, ""}
    _blank_facts(job, names)
    forget_answers_about({*names, order.customer_contact, car.plate})
    refusals.exclude(refused_by_name=ERASED).update(refused_by_name=ERASED)
    RepairOrder.objects.filter(pk=order.pk).update(customer_name=ERASED, customer_contact="")
    others = RepairOrder.objects.filter(vehicle=car).exclude(customer_name=ERASED)
    if not others.exists():
        Vehicle.objects.filter(pk=car.pk).update(plate="")
    if row.why == "erasure" or not _unredacted_left(job):
        destroy(organisation=job.organisation, subject=KEY_SUBJECT.format(job=job.pk), as_of=as_of)


def _blank_facts(job: Job, texts: set[str]) -> None:
    """Empties kept facts of a job with a refusal, and takes the texts out of kept results.

    Facts are kept packed under their hash and cannot be changed in part. A result whose text was taken out no
    longer has its hash; it is shown, and never judged from again.
    """
    if Refusal.objects.filter(job=job).exists():
        FactsOnFile.objects.filter(job=job).update(data=b"")
    if not texts:
        return
    # Longer ones first: one may be a part of another.
    words = "|".join(re.escape(text) for text in sorted(texts, key=len, reverse=True))
    named = re.compile(rf"(?<!\w)(?:{words})(?!\w)")
    for kept in Assessment.objects.filter(job=job):
        before = json.loads(kept.result)
        after = _without(before, named)
        if after != before:
            plain = json.dumps(after, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
            Assessment.objects.filter(pk=kept.pk).update(result=plain)


def _without(value: Any, named: re.Pattern[str], key: str = "") -> Any:
    """The same with the names replaced in what is written; keys and codes stay, whoever is called so."""
    if isinstance(value, str):
        is_code = key != "person" and _CODE.fullmatch(value)
        return value if is_code else named.sub(ERASED, value)
    if isinstance(value, dict):
        return {name: _without(item, named, name) for name, item in value.items()}
    if isinstance(value, list):
        return [_without(item, named, key) for item in value]
    return value


def _unredacted_left(job: Job) -> bool:
    rows = Packet.objects.filter(job=job, state="sealed").exclude(kind="redacted")
    return any(not note_of_packet(pk) for pk in rows.values_list("pk", flat=True))


def shorten_addresses(row: Deletion, organisation: Organisation) -> None:
    """Shortens every address of the packet that is due on the day of the decision."""
    rule = rules_of(organisation)["download_addresses"]
    if rule.amount is None:
        return
    for found in old_addresses(
        organisation, keep_days=rule.amount, as_of=row.decided_at, packet_id=row.packet_id
    ):
        for download in PacketDownload.objects.filter(pk__in=found.downloads):
            PacketDownload.objects.filter(pk=download.pk).update(ip=shortened(str(download.ip)))
        for part in CopyTransfer.objects.filter(pk__in=found.transfers):
            CopyTransfer.objects.filter(pk=part.pk).update(ip=shortened(str(part.ip)))
