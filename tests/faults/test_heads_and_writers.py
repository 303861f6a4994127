"""Heads and tiles are made while many write: nobody waits for them, each head is over a whole beginning."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

# A program of its own, because pytest's SQLite lives in memory, where locking is not that of files.
PROGRAM = """
import json, sys, threading, time
from datetime import timedelta
import django
django.setup()
from django.core.management import call_command
from django.db import connection, transaction
from jobs.ledger import tree, verify_tiles
tree.TILE = verify_tiles.TILE = 16
tree.TILE_LEVELS = 4
from jobs.ledger.append import append
from jobs.ledger.heads import head_of, sign_head
from jobs.ledger.sealing import sealing_of
from jobs.ledger.verify import verify_organisation
from jobs.models import LogTile, Organisation, TreeHead, unscoped
from jobs.moment import now
from jobs.services.heads import publish_head
from jobs.services.signing_keys import make_demo_key
from jobs.signing.identities import signer_of
from rules.seal.log_proofs import shows_consistency

WRITERS, ENTRIES, REST_S = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
call_command("migrate", verbosity=0, skip_checks=True)
owner = Organisation.objects.create(
    name="Brackwater", kind="repair_group", default_tz="America/Chicago", created_at=now()
)
begin = now()
make_demo_key(organisation=owner, as_of=begin)
failed, sealed, false_alarms, together = [], [], [], threading.Barrier(WRITERS + 3)
done = threading.Event()

def note(what, detail):
    return append(
        organisation=owner, at=now(), who="itolvaar", device="", what=what, target="j", detail=detail
    )

def run(act):
    def body():
        try:
            together.wait(timeout=60)
            act()
        except BaseException as error:
            failed.append(repr(error))
        finally:
            connection.close()
    return threading.Thread(target=body)

def writer(number):
    def act():
        for step in range(ENTRIES):
            with transaction.atomic():
                note("evidence.added", {"number": number, "step": step})
    return act

def publisher():
    # Two at least, however quick the writers are.
    day = 0
    while not done.wait(REST_S) or day < 2:
        tree.make_tiles(owner.pk)
        publish_head(organisation=owner, as_of=begin + timedelta(days=day))
        day += 1

def sealer():
    while not done.wait(REST_S) or len(sealed) < 2:
        tree.make_tiles(owner.pk)
        with transaction.atomic():
            entry = note("packet.sealed", {})
            sign_head(organisation=owner, size=entry.n, as_of=now(), signer=signer_of(owner))
        sealed.append(entry.n)

def checker():
    while not done.wait(REST_S):
        report = verify_organisation(owner)
        if not report.is_whole:
            false_alarms.append([report.fault, report.at_n])

writers = [run(writer(number)) for number in range(WRITERS)]
others = [run(act) for act in (publisher, sealer, checker)]
started = time.perf_counter()
for thread in writers + others: thread.start()
for thread in writers: thread.join()
seconds = time.perf_counter() - started
done.set()
for thread in others: thread.join()
tree.make_tiles(owner.pk)
report = verify_organisation(owner)
with unscoped():
    heads = list(TreeHead.objects.order_by("size", "pk"))
    daily = [head for head in heads if head.is_daily]
    tiles = LogTile.objects.count()
whole = tree.LogTree(owner.pk, report.entries)
tied = all(
    shows_consistency(one.size, two.size, bytes.fromhex(one.root), bytes.fromhex(two.root),
                      whole.consistency(one.size, two.size))
    for one, two in zip(heads, heads[1:])
)
for n in sealed:
    sealing_of(owner, n)
print(json.dumps({
    "failed": failed, "false_alarms": false_alarms, "fault": report.fault,
    "entries": report.entries == WRITERS * ENTRIES + len(sealed) + len(daily) + 1,
    "daily": len(daily) > 1, "sealed": len(sealed) > 1, "heads": report.tree_heads == len(heads),
    "tiles": report.tiles == tiles and tiles > 3, "tied": tied,
}))
speed = f"{WRITERS * ENTRIES / seconds:.0f} entries a second"
print(f"{speed} beside {len(daily)} daily heads and {len(sealed)} more", file=sys.stderr)
"""
GOOD = {
    "failed": [],
    "false_alarms": [],
    "fault": "",
    "entries": True,
    "daily": True,
    "sealed": True,
    "heads": True,
    "tiles": True,
    "tied": True,
}


def _run(size: tuple[str, str, str], extra: dict[str, str]) -> dict[str, object]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *size], check=False, capture_output=True, text=True, timeout=300,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "portal.settings"} | extra,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    sys.stdout.write(done.stderr[-200:])
    found: dict[str, object] = json.loads(done.stdout.splitlines()[-1])
    return found


@pytest.mark.slow
def test_heads_beside_writers_on_a_file(tmp_path: Path) -> None:
    # An embedded database has one writer at a time and does not queue them fairly: few, with rests.
    assert _run(("3", "25", "0.3"), {"WM_DATA_DIR": str(tmp_path), "DATABASE_URL": ""}) == GOOD


@pytest.mark.slow
def test_heads_beside_writers_on_a_server(tmp_path: Path, migrated_postgresql_url: str) -> None:
    found = _run(("5", "20", "0.05"), {"WM_DATA_DIR": str(tmp_path), "DATABASE_URL": migrated_postgresql_url})
    assert found == GOOD
