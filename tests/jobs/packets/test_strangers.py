"""Other people's cars and names in what leaves: replaced by steady words, with the same verdicts."""

import json
from dataclasses import replace
from itertools import islice
from typing import Any

import pytest

from jobs.packets.strangers import Known, Replacer, has_vin_of_another, phrases
from rules.assess import assess
from rules.canonical import from_plain, to_plain
from rules.facts import JobFacts
from tests.homes.cases import cases
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.windshield_job import windshield_job

FOREIGN = "Z0ACR4H24T1004217"


def known(job: JobFacts, **more: Any) -> Known:
    return Known(vin=job.vehicle.vin, job_id=job.job_id, **more)


def verdicts(facts: JobFacts, gate: str = "11:50") -> list[Any]:
    judged = assess(packs_on_file(), facts, as_of=at(gate))
    return [(f.procedure_id, f.proof_id, f.verdict, f.outcome.reasons) for f in judged.findings]


def outside(job: JobFacts, **more: Any) -> JobFacts:
    return from_plain(JobFacts, Replacer(known(job, **more)).facts(to_plain(job)))


def test_a_foreign_vin_goes_and_the_conflict_stays() -> None:
    job = windshield_job()
    scans = (replace(job.scans[0], vin_per_module=(("Camera", FOREIGN),)), *job.scans[1:])
    job = replace(job, scans=scans)
    left = outside(job)
    assert FOREIGN not in json.dumps(to_plain(left))
    assert left.scans[0].vin_per_module == (("Camera", "ANOTHER-VEHICLE-1"),)
    assert verdicts(left) == verdicts(job)
    # The hash taken of the replaced text goes too, and the signatures still cover the record.
    assert left.scans[0].sha256 != job.scans[0].sha256
    assert all(left.scans[0].sha256 in item.covers for item in left.sign_offs if item.covers_root == "")


@pytest.mark.parametrize("place", range(0, 240, 80))
def test_nothing_foreign_leaves_from_any_home_case(place: int) -> None:
    case = next(islice(cases(), place, None))
    job = from_plain(JobFacts, json.loads(case["facts"]))
    left = outside(job)
    assert not any(has_vin_of_another(text, job.vehicle.vin) for text in (json.dumps(to_plain(left)),))
    assert verdicts(left) == verdicts(job)


def test_names_are_found_however_they_are_written() -> None:
    replacer = Replacer(known(windshield_job(), others={"r. ashgrove": "another customer"}))
    for text in ("R. Ashgrove's car", "R_Ashgrove_lane.jpg", "r  ashgrove, see there", "by R. ASHGROVE."):
        assert "ashgrove" not in replacer.text(text).casefold(), text
    assert replacer.count == 1
    assert replacer.text("Ashgroves and grove") == "Ashgroves and grove"
    assert "r. ashgrove" in phrases("given to R. Ashgrove")
