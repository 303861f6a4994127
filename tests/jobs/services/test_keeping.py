"""The nightly round: asked for once a day, and a clock that jumps deletes nothing the first night."""

import json
from pathlib import Path
from typing import Any

import pytest

from jobs import storage
from jobs.models import Job, LogEntry, OutboxEntry
from jobs.services.due import look_ahead
from jobs.services.keeping import keep_house
from jobs.tasks import keep_house as keep_house_task
from jobs.work import KEEP_HOUSE, schedule_keeping
from tests.jobs.kept_job import aged, delivered, kept_file
from tests.jobs.shop import Shop

DUE = 3654  # days from 5 May 2026 to 6 May 2036


@pytest.fixture(autouse=True)
def _store(settings: Any, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


def test_it_is_asked_for_once_a_day(shop: Shop) -> None:
    assert [schedule_keeping(as_of=shop.at(hhmm)) for hhmm in ("00:01", "23:59")] == [1, 0]
    assert schedule_keeping(as_of=shop.at("00:01", days=1)) == 1
    entry = OutboxEntry.objects.filter(task=KEEP_HOUSE).first()
    assert entry is not None
    assert keep_house_task.apply(args=(entry.pk,), throw=True).get() == "done"


@pytest.mark.parametrize(("gap", "is_deleted"), [(1, True), (40, True), (41, False), (400, False)])
def test_a_jump_of_the_clock_deletes_nothing_the_first_night(
    shop: Shop, job: Job, gap: int, is_deleted: bool
) -> None:
    photo = kept_file(shop, delivered(job, shop.at("17:00")), b"a photo")
    look_ahead(organisation=shop.organisation, as_of=shop.at("03:00", days=DUE - gap))
    aged()
    look_ahead(organisation=shop.organisation, as_of=shop.at("03:00", days=DUE))
    done = keep_house(organisation=shop.organisation, as_of=shop.at("03:00", days=DUE))
    assert (done is not None, storage.exists(photo.sha256)) == (is_deleted, not is_deleted)
    if not is_deleted:
        (entry,) = LogEntry.objects.filter(what="retention.held_back")
        assert "clock may be wrong" in json.loads(entry.detail)["because"]
        keep_house(organisation=shop.organisation, as_of=shop.at("03:00", days=DUE + 1))
        assert not storage.exists(photo.sha256)
