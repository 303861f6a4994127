"""The look over the store: damage and gaps are told, it goes on where it stopped, it removes nothing."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from jobs import storage
from jobs.models import Job
from jobs.scrubbing import scrub
from jobs.services.retention import run_retention
from jobs.services.retention_plan import plan_retention
from tests.jobs.kept_job import delivered, kept_file
from tests.jobs.services.conftest import job, shop  # noqa: F401 - fixtures
from tests.jobs.shop import Shop


@pytest.fixture(autouse=True)
def store(settings: Any, tmp_path: Path) -> Path:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    return tmp_path / "stored"


def files(store: Path) -> dict[str, bytes]:
    return {
        str(path): path.read_bytes() for path in store.rglob("*") if path.is_file() and len(path.name) == 64
    }


def budget(count: int) -> Any:
    """Out of time after so many files."""
    left = [count]

    def out_of_time() -> bool:
        left[0] -= 1
        return left[0] < 0

    return out_of_time


def never() -> bool:
    return False


def test_damage_gaps_and_the_unnamed_are_told_and_nothing_is_touched(store: Path) -> None:
    good, bad, stray = (storage.put(data) for data in (b"good", b"bad", b"stray"))
    path = storage.path(bad)
    path.write_bytes(b"bax")
    missing = "a" * 64
    before = files(store)
    found = scrub(named={good, bad, missing}, out_of_time=never)
    assert (found.damaged, found.missing, found.unnamed) == ((bad,), (missing,), 1)
    assert (found.looked_at, found.stored, found.is_whole, found.is_sound) == (3, 3, True, False)
    assert storage.exists(stray)
    assert files(store) == before


def test_a_little_each_time_comes_round_to_everything(store: Path) -> None:
    names = [storage.put(bytes([value])) for value in range(10)]
    path = storage.path(sorted(names)[7])
    path.write_bytes(b"x")
    looks = [scrub(named=set(names), out_of_time=budget(3)) for _ in range(4)]
    assert [look.looked_at for look in looks] == [3, 3, 3, 3]
    assert [bool(look.damaged) for look in looks] == [False, False, True, False]
    assert not any(look.is_whole for look in looks)
    assert scrub(named=set(names), out_of_time=never, start_anew=True).is_whole


def test_nothing_stored_is_sound(store: Path) -> None:
    found = scrub(named=set(), out_of_time=never)
    assert (found.looked_at, found.is_whole, found.is_sound) == (0, True, True)


def command(*arguments: str) -> tuple[int, dict[str, Any]]:
    out = StringIO()
    try:
        call_command("scrub", "--json", *arguments, stdout=out)
    except SystemExit as ended:
        return int(str(ended.code)), json.loads(out.getvalue())
    return 0, json.loads(out.getvalue())


def test_the_command_knows_what_was_deleted_on_purpose(shop: Shop, job: Job) -> None:  # noqa: F811
    photo = kept_file(shop, delivered(job, shop.at("17:00")), b"a photo")
    assert command("--all")[0] == 0
    at = shop.at("12:00", days=3660)
    plan = plan_retention(organisation=shop.organisation, as_of=at)
    run_retention(organisation=shop.organisation, as_of=at, plan_sha256=plan.sha256)
    assert not storage.exists(photo.sha256)
    status, told = command("--all")
    assert (status, told["missing"]) == (0, [])


def test_the_command_names_a_gap(shop: Shop, job: Job) -> None:  # noqa: F811
    photo = kept_file(shop, job, b"a photo")
    storage.path(photo.sha256).unlink()
    status, told = command("--seconds", "60")
    assert (status, told["missing"], told["is_sound"]) == (1, [photo.sha256], False)
    assert command("--seconds", "0")[1]["looked_at"] == 0
