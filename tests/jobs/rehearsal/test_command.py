"""`manage.py rehearse`: what it prints, how it ends, and that it leaves what is configured alone."""

import io
import json
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.core.management import call_command
from django.db import connections

from jobs.moment import machine_now, now
from tests.jobs.rehearsal.conftest import SMALL

pytestmark = [
    pytest.mark.usefixtures("own_database"),
    pytest.mark.slow,
]


def rehearsed(*paths: Path, short: bool = False) -> tuple[int, Any]:
    """Exit status, and what was printed (parsed where it is JSON)."""
    told, status = io.StringIO(), 0
    try:
        call_command("rehearse", *map(str, paths), short=short, stdout=told)
    except SystemExit as ended:
        status = int(str(ended.code))
    return status, told.getvalue() if short else json.loads(told.getvalue())


def changed(path: Path, old: str, new: str) -> Path:
    assert SMALL.count(old) == 1
    path.write_text(SMALL.replace(old, new), encoding="utf-8")
    return path


def test_a_scenario_that_holds(small: Path) -> None:
    status, told = rehearsed(small)
    assert status == 0
    (file,) = told["files"]
    assert (file["holds"], file["differences"], file["refused"]) == (True, [], [])
    job = file["parts"][0]["jobs"]["car"]
    assert (job["number"], job["disposition"]) == ("EM-2026-0500", "hold")
    assert job["requirements"]["CP-EVERY"] == {"state": "required", "reasons": []}
    proof = job["proofs"]["CP-EVERY/fit"]
    assert (proof["verdict"], proof["reasons"]) == ("not_shown", ["fit_unknown"])
    assert proof["sentence"]
    assert job["gate_at"].startswith("2026-05-05T16:00:00")


def test_the_same_scenario_gives_the_same_answer(small: Path) -> None:
    assert rehearsed(small) == rehearsed(small)


@pytest.mark.parametrize(
    ("old", "new", "where", "found"),
    [
        ("disposition: hold", "disposition: release", "disposition", "hold"),
        ("plan: {verdict: met}", "plan: {verdict: not_met}", "proofs.CP-EVERY/plan.verdict", "met"),
        ("plan: {verdict: met}", "plant: {verdict: met}", "proofs.CP-EVERY/plant.verdict", "there are:"),
        ("[fit_unknown]", "[missing]", "proofs.CP-EVERY/fit.reasons", "fit_unknown"),
        ("disposition: hold", "required: [CP-EVERY, CP-BOND]", "required", "CP-EVERY"),
        ("disposition: hold", "open: []", "open", "CP-EVERY/fit"),
        ("disposition: hold", "not_required: [CP-EVERY]", "not_required", "CP-EVERY: required"),
        ("disposition: hold", "ready: 10:10", "ready", "no time"),
        ("disposition: hold", "left_against_hold: yes", "left_against_hold", "no"),
        ("at: 11:00", "at: 07:00", "", "not judged yet"),
    ],
)
def test_an_expectation_that_does_not_hold(small: Path, old: str, new: str, where: str, found: str) -> None:
    status, told = rehearsed(changed(small, old, new))
    assert status == 1
    differences = told["files"][0]["differences"]
    assert any(where in item["where"] and found in item["found"] for item in differences), differences
    lines = SMALL.splitlines()
    assert all(0 < item["line"] <= len(lines) + 1 for item in differences)


def test_a_record_that_is_refused(small: Path) -> None:
    path = changed(small, "instrument: PG-022", "instrument: PG-999")
    status, told = rehearsed(path)
    assert status == 1
    assert told["files"][0]["refused"][0]["code"] == "unknown_reference"
    path.write_text(
        path.read_text().replace("instrument: PG-999", "instrument: PG-999, refused: unknown_reference")
    )
    assert rehearsed(path)[0] == 0


def test_a_record_that_should_be_refused_and_is_not(small: Path) -> None:
    status, told = rehearsed(changed(small, "instrument: PG-022", "instrument: PG-022, refused: bad_number"))
    assert status == 1
    assert [item["found"] for item in told["files"][0]["differences"]] == ["accepted"]


def test_no_scenario(small: Path) -> None:
    status, told = rehearsed(changed(small, "07:40", "soon"))
    assert status == 2
    (fault,) = told["files"][0]["faults"]
    assert (fault["file"], fault["line"], fault["found"]) == (str(small), 7, "soon")


@pytest.mark.parametrize(
    "world",
    [
        "{equipment: {XX-1: {class: tape}}}",
        "{people: {nobody: {org: brackwater, name: N, roles: [technician], pin: 1, locations: [ZZ]}}}",
        '{packs: {orrinvale.9.yaml: {org: brackwater, published_on: "2026-01-01"}}}',
        "{packs: {orrinvale.7.yaml: {edits: [{old: nowhere, new: there}]}}}",
        "{locations: {EM: {lat: high}}}",
    ],
)
def test_a_world_that_cannot_be_made(small: Path, world: str) -> None:
    status, told = rehearsed(changed(small, "jobs:\n", f"world: {world}\njobs:\n"))
    assert status == 2
    assert told["files"][0]["faults"][0]["line"] == 3


def test_several_files_and_short_words(small: Path, tmp_path: Path) -> None:
    other = changed(tmp_path / "other.yaml", "disposition: hold", "disposition: release")
    status, told = rehearsed(small, other, short=True)
    assert status == 1
    assert told.splitlines()[0] == f"{small}: holds"
    assert told.splitlines()[1] == f"{other}: differs"
    assert "line 21: end/car disposition: expected release; found hold" in told


def test_what_is_configured_stays_as_it_is(small: Path) -> None:
    """The configured database is not opened, and time runs on."""
    before = connections["default"]
    before.close()
    settings = dict(connections.settings["default"])
    assert rehearsed(small)[0] == 0
    assert connections["default"] is before
    assert before.connection is None
    assert dict(connections.settings["default"]) == settings
    assert abs((now() - machine_now()).total_seconds()) < 5


def test_a_hostile_log_is_refused_by_the_real_decoder(small: Path) -> None:
    drive = 'drives:\n      bad: {at: 10:30, text: "t,lat,lon\\n1,2\\n", refused: csv_columns}\n    readings:'
    status, told = rehearsed(changed(small, "readings:", drive))
    assert (status, told["files"][0]["differences"]) == (0, []), told["files"][0]["refused"]


@pytest.mark.parametrize(
    ("clock", "verdict", "reasons"),
    [
        ("{off: 62.36 s, compared: yes, delay: 0.24 s}", "met", []),
        ("{off: 62.36 s, compared: no}", "not_shown", ["order_unprovable"]),
    ],
)
def test_a_clock_that_was_compared_and_one_that_was_not(
    small: Path, clock: str, verdict: str, reasons: list[str]
) -> None:
    """Nothing known of a clock leaves the final scan open by a day: it may be older than the work."""
    scans = """scans:
      before: {at: 07:50, stage: before_repair}
      final: {at: 10:30, device: tablet-em-2, stage: final}
    readings:"""
    path = changed(small, "readings:", scans)
    path.write_text(path.read_text().replace("jobs:\n", f"clocks: {{tablet-em-2: {clock}}}\njobs:\n"))
    status, told = rehearsed(path)
    assert (status, told["files"][0]["refused"]) == (0, [])
    proof = told["files"][0]["parts"][0]["jobs"]["car"]["proofs"]["CP-EVERY/codes"]
    assert (proof["verdict"], proof["reasons"]) == (verdict, reasons)


def test_a_scratch_database_on_a_server_and_none_is_left(small: Path, postgresql_url: str) -> None:
    told = io.StringIO()
    call_command("rehearse", str(small), server=postgresql_url, stdout=told)
    assert json.loads(told.getvalue())["files"][0]["holds"] is True
    with psycopg.connect(postgresql_url) as door:
        names = {row[0] for row in door.execute("SELECT datname FROM pg_database")}
    assert not [name for name in names if name.startswith("rehearsal_")]


def test_records_after_the_last_part(small: Path, tmp_path: Path) -> None:
    """A file's own are a difference; what it inherits may go on after it stops."""
    late = changed(small, "first: {at: 09:50}", "first: {at: 11:30}")
    status, told = rehearsed(late)
    assert (status, told["files"][0]["differences"][-1]["found"]) == (1, "not played")
    over = tmp_path / "over.yaml"
    over.write_text(
        "scenario: stops early\nextends: small.yaml\n"
        "parts:\n  end: {at: 11:00, expect: {car: {proofs: {CP-EVERY/plan: {verdict: not_shown}}}}}\n"
    )
    status, told = rehearsed(over)
    assert (status, told["files"][0]["differences"]) == (0, [])
