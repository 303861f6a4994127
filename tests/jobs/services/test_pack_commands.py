"""Publishing from the command line, and the effect of an edition told there."""

import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction

from jobs.models import PackAcknowledgement, PackEditionOnFile, unscoped
from jobs.moment import standing_at
from rules.packs.model import PackSet
from tests.jobs.services.test_edition_effect import nine, on_record, packs
from tests.jobs.shop import PACKS, Shop

__all__ = ["packs"]

COMMON = PACKS / "common-practice.3.yaml"
WARNING = "trigger:CP-T-BOND/true"


@pytest.fixture(autouse=True)
def _last_year(shop: Shop) -> Iterator[None]:
    """Before the first day of the edition."""
    with standing_at(shop.at("12:00", days=-150)):
        yield


def publish(file: Path, by: str = "pvantongeren", second: str = "dpell", *names: str) -> tuple[str, str]:
    """What was told, and the refusal, if there was one."""
    out = io.StringIO()
    try:
        with transaction.atomic():
            call_command(
                "publish_pack", str(file), f"--by={by}", f"--approved-by={second}", "--acknowledge", *names,
                stdout=out, stderr=out,
            )  # fmt: skip
    except CommandError as error:
        return out.getvalue(), str(error)
    return out.getvalue(), ""


def test_a_pack_is_published_with_its_warnings_by_name(shop: Shop, tmp_path: Path) -> None:
    told, refusal = publish(COMMON)
    assert (WARNING in told, refusal.split(":")[0]) == (True, "warnings_open")
    # Nothing of the attempt stays.
    assert not PackEditionOnFile.objects.exists()
    assert publish(COMMON, "dpell")[1].startswith("role_missing")
    assert publish(COMMON, "pvantongeren", "pvantongeren", WARNING)[1].startswith("same_person")
    assert publish(COMMON, "nobody")[1].startswith("nobody is nobody")
    assert publish(tmp_path / "none.yaml")[1]
    bad = tmp_path / "bad.yaml"
    bad.write_bytes(COMMON.read_bytes() + b"colour: red\n")
    told, refusal = publish(bad)
    assert ("unknown_key" in told, refusal.split(":")[0]) == (True, "pack_faulty")
    told, refusal = publish(COMMON, "pvantongeren", "dpell", WARNING)
    row = PackEditionOnFile.objects.get()
    assert (refusal, row.state, row.sha256 in told) == ("", "published", True)
    assert PackAcknowledgement.objects.get().by.login == "dpell"


def test_the_effect_is_told(shop: Shop, packs: PackSet) -> None:
    on_record(shop, packs, "weak")
    nine(shop)
    out, err = io.StringIO(), io.StringIO()
    call_command("edition_effect", "orrinvale", "9", stdout=out, stderr=err)
    told = out.getvalue()
    assert told.startswith("Judged by a text that was not in force when the work was done.")
    assert "OV-FC-ROAD volts: met -> not_met" in told
    assert "OV-FC-ROAD window: not asked for -> not_shown" in told
    assert told.rstrip().endswith("1 would not meet the new voltage, 1 lacks the new photo.")
    assert err.getvalue().startswith("1 jobs in ")
    with pytest.raises(CommandError), unscoped():
        call_command("edition_effect", "orrinvale", "10")
