"""Sealed packets as rows with real stored bytes, none rendered: for tests of what comes after sealing."""

import json
import secrets
from typing import Any

from jobs import storage
from jobs.models import Assessment, Job, Packet
from tests.jobs.shop import Shop

ROOT = "b" * 64


def sealed_packet(
    shop: Shop, job: Job, *, hhmm: str = "12:00", days: int = 0, number: int = 1, **fields: Any
) -> Packet:
    """A sealed packet of the job that speaks for ``hhmm``; its file is a few bytes."""
    at = shop.at(hhmm, days=days)
    data = fields.pop("data", f"%PDF-sealed {job.number} {number}".encode())
    given: dict[str, Any] = {
        "kind": "full", "state": "sealed", "requested_at": at, "as_of": at, "built_at": at,
        "salt_key": secrets.token_bytes(32), "merkle_root": ROOT, "pdf_sha256": storage.put(data),
        "pdf_bytes": len(data),
    } | fields  # fmt: skip
    return Packet.objects.create(
        organisation=shop.organisation, job=job, serial=f"{job.number}/P{number}", number=number, **given
    )


def judged(shop: Shop, job: Job, *, pack: tuple[str, int] = ("orrinvale", 7), **fields: Any) -> Assessment:
    """A kept judgement that says: this edition governed the aiming of these sensors."""
    sensors = fields.pop("sensors", ["forward_camera"])
    procedure = {
        "procedure_id": "OV-FC-STATIC", "title": "Forward camera", "state": "required", "pack": pack[0],
        "edition": pack[1], "sensors": sensors,
    }  # fmt: skip
    given: dict[str, Any] = {
        "facts_sha256": secrets.token_hex(32), "packs": [[*pack, "0" * 64]], "packs_sha256": "1" * 64,
        "engine_version": "1", "gate_at": shop.at("11:50"),
        "result": json.dumps({"procedures": [procedure], "requirements": [procedure]}),
        "result_sha256": "2" * 64, "verdict": "met", "disposition": "release",
        "computed_at": shop.at("11:50"),
    } | fields  # fmt: skip
    made = Assessment.objects.create(**({"organisation": shop.organisation, "job": job} | given))
    Job.objects.filter(pk=job.pk).update(current_assessment=made)
    return made
