"""The custodian's form as a page: what the record states, blanks for the rest, for who answers for it."""

import re

import pytest
from django.test import Client

from jobs.models import Packet, unscoped
from tests.portal.api.test_production import packet
from tests.portal.intake import OpenJob
from tests.portal.web.reading import text_of

__all__ = ["packet"]

pytestmark = pytest.mark.django_db


def test_the_form_is_for_those_who_answer_for_the_record(
    job: OpenJob, packet: Packet, worker: Client, elsewhere: Client, manager: Client
) -> None:
    path = f"/gate/{job.job}/kept/packets/1/custodian-form"
    assert Client().get(path).status_code == 302
    assert worker.get(path).status_code == 403
    assert elsewhere.get(path).status_code == 404
    assert manager.post(path).status_code in (403, 405)
    answer = manager.get(path)
    assert answer.status_code == 200
    text = text_of(answer)
    assert packet.serial in text
    assert "It certifies nothing." in text
    assert "=HYPERLINK(1)" in text
    assert re.sub(r"\s", "", packet.pdf_sha256) in re.sub(r"\s", "", text)
    for words in ("Name", "Signature", "Basis of knowledge", "Notice given to"):
        assert re.search(rf"{words}\s+\.{{20,}}", text), words
    # From the page of what was handed out, one link leads here.
    kept = manager.get(f"/gate/{job.job}/kept").content.decode()
    assert path in kept


def test_of_what_is_not_sealed_or_not_there_nothing_is_stated(
    job: OpenJob, packet: Packet, manager: Client
) -> None:
    with unscoped():
        Packet.objects.create(
            organisation=packet.organisation, job=packet.job, serial="P2", number=2, kind="full",
            requested_at=packet.requested_at, as_of=packet.as_of, salt_key=bytes(32),
        )  # fmt: skip
    assert manager.get(f"/gate/{job.job}/kept/packets/2/custodian-form").status_code == 409
    assert manager.get(f"/gate/{job.job}/kept/packets/3/custodian-form").status_code == 404
