"""An archived verdict is reached again from what was kept with it, to the last byte, whatever came later."""

import io
import json
import zlib
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command

from jobs.errors import Conflict
from jobs.models import Assessment, FactsOnFile, Job, PackEditionOnFile
from jobs.services import assessment, fitted, pack_desk, replay
from rules.reading_back import read_facts
from tests.jobs.replayed import every_judgement_is_reached_again
from tests.jobs.shop import PACKS, Shop, new_id
from tests.record_guards import without_guards

SEVEN, COMMON = PACKS / "orrinvale.7.yaml", PACKS / "common-practice.3.yaml"


def record(shop: Shop, job: Job, hhmm: str, sensor: str = "lidar") -> None:
    entry = fitted.FittedEntry(id=new_id(), sensor=sensor, state="no", way="sight", at=shop.text(hhmm))
    as_of = shop.at(hhmm) + timedelta(seconds=1)
    fitted.record_fitted(job=job, actor=shop.actor("itolvaar"), as_of=as_of, entry=entry)


def judge(shop: Shop, job: Job, hhmm: str) -> Assessment:
    run = assessment.request_assessment(job=job, actor=shop.actor("itolvaar"), as_of=shop.at(hhmm))
    kept = assessment.perform_assessment(run_id=run.pk, as_of=shop.at(hhmm)).assessment
    assert kept is not None
    return kept


@pytest.fixture
def judged(shop: Shop, job: Job) -> Job:
    shop.publish("common-practice.3.yaml")
    shop.publish_later("orrinvale.7.yaml")
    record(shop, job, "08:00")
    judge(shop, job, "08:30")
    record(shop, job, "09:00", "forward_camera")
    judge(shop, job, "09:30")
    return job


def command(*arguments: str) -> tuple[int, str]:
    out = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("replay", *arguments, stdout=out, stderr=out)
    return int(ended.value.code or 0), out.getvalue()


def test_every_judgement_is_reached_again(shop: Shop, judged: Job) -> None:
    assert every_judgement_is_reached_again() == 2
    assert command(judged.number)[0] == 0
    status, text = command(str(judged.pk))
    kept = replay.assessment_of(judged)
    assert (status, text.count(kept.result_sha256)) == (0, 2)
    assert "DIFFERENT" not in text
    assert "by orrinvale, edition 7" in text


def test_the_judgement_of_an_earlier_instant(shop: Shop, judged: Job) -> None:
    first, last = Assessment.objects.order_by("gate_at")
    assert replay.assessment_of(judged, shop.at("09:00")) == first
    assert replay.assessment_of(judged) == last
    status, text = command(judged.number, "--as-of", shop.text("09:00"), "--json")
    told = json.loads(text)
    assert (status, told["assessment"], told["agrees"]) == (0, str(first.pk), True)
    assert command(judged.number, "--as-of", shop.text("07:59"))[0] == 2
    assert command(judged.number, "--as-of", "yesterday")[0] == 2


def test_what_comes_later_does_not_reach_back(shop: Shop, judged: Job) -> None:
    """A withdrawal at noon, another edition, and another record all come after the judgement."""
    row = PackEditionOnFile.objects.get(pack="orrinvale")
    pack_desk.withdraw_pack(
        row=row, actor=shop.actor("lveskel"), as_of=shop.at("12:00"), on=shop.day, severity="safety",
        reason="The target distance was wrong",
    )  # fmt: skip
    record(shop, judged, "12:01", "front_radar")
    assert every_judgement_is_reached_again() == 2
    after = judge(shop, judged, "12:05")
    assert [name for name, _, _ in after.packs] == ["common-practice"]
    assert every_judgement_is_reached_again() == 3


def test_other_packs_are_told_apart(judged: Job) -> None:
    same, text = command(judged.number, "--packs", str(COMMON), str(SEVEN))
    assert (same, "given pack files" in text) == (0, True)
    status, text = command(judged.number, "--packs", str(COMMON))
    assert (status, "DIFFERENT" in text) == (1, True)
    assert command(judged.number, "--packs", "nowhere.yaml")[0] == 2


def test_what_cannot_be_compared(shop: Shop, job: Job, judged: Job) -> None:
    assert command("EM-0000-0000")[0] == 2
    never_judged = shop.open_job(number="EM-2026-0418")
    assert command(never_judged.number)[0] == 2
    assert command(str(new_id()))[0] == 2


def damage(row: FactsOnFile, **values: Any) -> str:
    with without_guards():
        FactsOnFile.objects.filter(pk=row.pk).update(**values)
    with pytest.raises(Conflict) as conflict:
        every_judgement_is_reached_again()
    return conflict.value.code


def test_facts_that_were_changed_are_noticed(judged: Job) -> None:
    row = FactsOnFile.objects.first()
    assert row is not None
    data = zlib.decompress(bytes(row.data))
    assert read_facts(data, sha256=row.sha256).job_id == str(judged.pk)
    assert damage(row, data=zlib.compress(data.replace(b'"no"', b'"yes"'))) == "facts_damaged"
    assert damage(row, data=b"no zlib") == "facts_damaged"
    assert damage(row, sha256="0" * 64) == "facts_not_kept"


def test_a_result_that_was_changed_is_noticed(judged: Job) -> None:
    kept = replay.assessment_of(judged)
    with without_guards():
        Assessment.objects.filter(pk=kept.pk).update(result=kept.result.replace("not_shown", "met"))
    assert command(judged.number)[0] == 2


def test_another_engine_is_said_and_only_verdicts_are_compared(
    judged: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(replay, "ENGINE_VERSION", "99")
    status, text = command(judged.number)
    assert (status, "this is engine 99" in text, "bytes were not compared" in text) == (0, True, True)
    assert command(judged.number, "--packs", str(COMMON))[0] == 1
