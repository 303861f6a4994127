"""A small record in a folder of its own, made once by the program: a job, files, a sealed packet, a head."""

from pathlib import Path

from tests.faults.stack import SEED

RECORD = (
    SEED
    + """
    from datetime import timedelta
    from pathlib import Path
    from django.conf import settings
    from jobs.ledger.heads import signed_plain
    from jobs.models import Job
    from jobs.services import packet, packet_sealing
    from jobs.services.heads import publish_head
    from jobs.services.signing_keys import make_demo_key
    from rules.canonical import canonical_bytes
    from tests.jobs.services.test_evidence_intake import climate
    job = Job.objects.get()
    make_demo_key(organisation=shop.organisation, as_of=shop.at("06:00"))
    climate(shop, job)
    asked = packet.request_packet(job=job, actor=shop.actor("tachterly"), as_of=shop.at("10:00"))
    made = packet_sealing.perform_packet(packet_id=asked.pk, as_of=shop.at("10:01"))
    assert made.state == "sealed", made.failure_message
    head = publish_head(organisation=shop.organisation, as_of=shop.at("20:00"))
    (Path(settings.WM_DATA_DIR) / "head.json").write_bytes(canonical_bytes(signed_plain(head)))
    print(made.pdf_sha256)
"""
)


def stored(folder: Path, sha256: str) -> Path:
    """Where the store of a record, or of a backup, keeps a file."""
    return folder / "stored" / sha256[:2] / sha256[2:4] / sha256
