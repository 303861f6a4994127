"""``python -m tests.bench.judgement``: the judgement against floors, other engines, and itself.

Our side is the judgement of jobs as the program carries it out: ``rules.assess``, with every explanation, and
in a second row only which procedures are required. The peers answer the bare questions on a document worked
out for them. Verdicts are compared with what the generator expects, for every job that is timed.
"""

import argparse
import gc
import json
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType
from typing import Any

from rules.assess import assess
from rules.canonical import sha256_hex
from rules.facts import JobFacts, worked_out
from rules.packs.compiled import compiled
from rules.packs.model import PackSet
from rules.reading_back import read_facts
from rules.record_bytes import record_bytes
from rules.rejudging import Held, rejudged
from rules.science.sun import position_deg
from tests.bench.clock import in_turns
from tests.bench.peers import PEERS, Peer, installed
from tests.bench.workload import GATE, Job, Rule, Verdicts, by_make, jobs, leaves, pack_set, rules
from tests.rules.builders import at
from tests.rules.packs_on_file import packs_on_file
from tests.rules.plain_interpreter import truth_of
from tests.rules.windshield_job import windshield_job

try:
    import orjson

    quick_loads: Callable[[bytes], object] = orjson.loads
    QUICK = "orjson.loads"
except ImportError:
    quick_loads = json.loads
    QUICK = "json.loads (orjson is not installed)"


@dataclass(frozen=True)
class Bench:
    """One workload: rules as data and as packs, jobs in memory and as bytes."""

    rules: list[Rule]
    packs: PackSet
    jobs: list[Job]
    flat: list[bytes]
    stored: list[bytes]


def bench(makes: int, count: int) -> Bench:
    chosen = rules(makes)
    made = jobs(count, by_make(chosen))
    return Bench(
        rules=chosen,
        packs=pack_set(chosen),
        jobs=made,
        flat=[json.dumps(job.flat).encode() for job in made],
        stored=[record_bytes(job.facts) for job in made],
    )


def fresh(facts: JobFacts) -> JobFacts:
    """The same facts with nothing worked out from them yet."""
    worked_out(facts).clear()
    return facts


# ------------------------------------------------------------------ our side


def verdicts(packs: PackSet, facts: JobFacts) -> Verdicts:
    """The findings of the judgement as the peers give them."""
    found: dict[str, list[bool]] = {}
    for item in assess(packs, facts, as_of=GATE).findings:
        found.setdefault(item.procedure_id, []).append(item.verdict == "met")
    return {name: tuple(met) for name, met in found.items()}


def required(packs: PackSet, facts: JobFacts) -> list[str]:
    """Only which procedures are required: compiled triggers, found by the index, on projected facts."""
    vehicle = facts.vehicle
    covering = packs.covering(GATE.date(), vehicle.make, vehicle.model_year, vehicle.model)
    ready = compiled(covering, facts)
    return [ready.calls[place].name for place, truth in ready.truths(facts) if truth == "true"]


def required_without_index(packs: PackSet, facts: JobFacts) -> list[str]:
    """The control: every trigger of every pack, one after the other."""
    return [
        trigger.calls_for
        for edition in packs.editions
        for trigger in edition.triggers
        if truth_of(trigger.when, facts, (), None) == "true"
        and edition.covers(facts.vehicle.make, 2020, facts.vehicle.model)
    ]


def assert_ours(work: Bench) -> None:
    for job in work.jobs:
        assert verdicts(work.packs, fresh(job.facts)) == job.expected, job.facts.job_id
        assert sorted(required(work.packs, fresh(job.facts))) == sorted(job.expected)
        assert sorted(required_without_index(work.packs, job.facts)) == sorted(job.expected)


def each(function: Callable[[Any], object], items: Sequence[Any]) -> None:
    """One after the other, keeping nothing: a growing heap would slow the quickest most."""
    for item in items:
        function(item)


def touch(value: object) -> int:
    """Look at every leaf."""
    if isinstance(value, dict):
        return sum([touch(item) for item in value.values()])
    if isinstance(value, list):
        return sum([touch(item) for item in value])
    return 1


# ------------------------------------------------------------------ peers


def peer_work(work: Bench, most: int) -> tuple[dict[str, tuple[Callable[[], object], int]], list[str]]:
    """Timed calls of every installed peer, each asserted on its jobs first; names of those that lack."""
    calls: dict[str, tuple[Callable[[], object], int]] = {}
    absent = []
    for peer in PEERS:
        library = installed(peer)
        if library is None:
            absent.append(peer.name)
            continue
        some = work.jobs[: max(5, min(most, peer.rate // 2))]
        calls |= _calls_of(peer, library, work.rules, some)
    return calls, absent


def _calls_of(
    peer: Peer, library: ModuleType, chosen: list[Rule], some: Sequence[Job]
) -> dict[str, tuple[Callable[[], object], int]]:
    calls: dict[str, tuple[Callable[[], object], int]] = {}
    if peer.alone is not None:
        alone = peer.alone(library, chosen)
        assert [alone(job.flat) for job in some] == [job.expected for job in some], peer.name
        calls[f"{peer.name}, alone"] = (lambda: [alone(job.flat) for job in some], len(some))
    if peer.handed is not None:
        handed = peer.handed(library, chosen)
        indexed = [(job.flat, list(job.expected)) for job in some]
        assert [handed(*item) for item in indexed] == [job.expected for job in some], peer.name
        calls[f"{peer.name}, with our index"] = (lambda: [handed(*item) for item in indexed], len(some))
    return calls


# ------------------------------------------------------------------ from the database


def database(work: Bench, folder: Path) -> sqlite3.Connection:
    """A table of stored facts, with the hash of the judgement on record."""
    connection = sqlite3.connect(folder / "jobs.sqlite3")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE held (id INTEGER PRIMARY KEY, facts BLOB, result TEXT)")
    rows = [
        (number, data, sha256_hex(record_bytes(assess(work.packs, fresh(job.facts), as_of=GATE))))
        for number, (job, data) in enumerate(zip(work.jobs, work.stored, strict=True))
    ]
    connection.executemany("INSERT INTO held VALUES (?, ?, ?)", rows)
    connection.commit()
    return connection


def recheck(connection: sqlite3.Connection, packs: PackSet, judged_by: PackSet | None) -> int:
    """Judge every stored job again and write the results that changed; how many did."""
    changed = []
    for number, data, result in connection.execute("SELECT id, facts, result FROM held").fetchall():
        held = Held(facts=read_facts(data), gate_at=GATE)
        for found in rejudged([held], packs, judged_by=judged_by):
            if found is not None and (now := sha256_hex(record_bytes(found))) != result:
                changed.append((now, number))
    connection.executemany("UPDATE held SET result = ? WHERE id = ?", changed)
    connection.commit()
    return len(changed)


def read_only(connection: sqlite3.Connection) -> None:
    for _, data, _ in connection.execute("SELECT id, facts, result FROM held").fetchall():
        read_facts(data)


def read_and_loads(connection: sqlite3.Connection) -> None:
    for _, data, _ in connection.execute("SELECT id, facts, result FROM held").fetchall():
        quick_loads(data)


# ------------------------------------------------------------------ the run


def run(*, count: int, ours: int, repeats: int, many: int) -> dict[str, float]:
    """Every timing in seconds per job, and the ratios under ``R1`` … ``S1``; prints the table.

    Args:
        count: jobs for floors and peers; ours: jobs that are judged in full in each turn.
        many: makes of the larger set of packs (20 rules each).
    """
    small, large = bench(20, count), bench(many, 2)
    assert_ours(replace(small, jobs=small.jobs[:ours]))
    some = [job.facts for job in small.jobs[:ours]]
    stored, flat = small.stored[:ours], small.flat
    peers, absent = peer_work(small, count)
    gc.freeze()
    with tempfile.TemporaryDirectory() as folder:
        few = replace(small, jobs=small.jobs[:ours], stored=stored)
        connection = database(few, Path(folder))
        # The same editions and one more pack, for cars that none of the jobs is about.
        grown = replace(small.packs, editions=(*small.packs.editions, large.packs.editions[-1]))
        assert recheck(connection, small.packs, None) == 0
        assert recheck(connection, grown, small.packs) == 0
        parsed = [json.loads(data) for data in flat]
        times = in_turns(
            {
                "floor: json.loads, flat document": (lambda: each(json.loads, flat), len(flat)),
                f"floor: {QUICK}, flat document": (lambda: each(quick_loads, flat), len(flat)),
                "floor: touch every leaf": (lambda: each(touch, parsed), len(flat)),
                f"floor: {QUICK}, stored facts": (lambda: each(quick_loads, stored), ours),
                "read stored facts": (lambda: each(read_facts, stored), ours),
                "ours: which procedures are required": (
                    lambda: [required(small.packs, fresh(facts)) for facts in some],
                    ours,
                ),
                "ours: the same, 4,000 rules": (
                    lambda: [required(large.packs, fresh(facts)) for facts in some],
                    ours,
                ),
                "control: the same without index": (
                    lambda: [required_without_index(small.packs, facts) for facts in some[:10]],
                    min(10, ours),
                ),
                "control: without index, 4,000 rules": (
                    lambda: [required_without_index(large.packs, facts) for facts in some[:10]],
                    min(10, ours),
                ),
                "ours: full judgement": (
                    lambda: [verdicts(small.packs, fresh(facts)) for facts in some],
                    ours,
                ),
                "ours: full judgement, 4,000 rules": (
                    lambda: [verdicts(large.packs, fresh(facts)) for facts in some],
                    ours,
                ),
                "ours: bytes to full findings": (
                    lambda: [verdicts(small.packs, read_facts(data)) for data in stored],
                    ours,
                ),
                f"floor: rows and {QUICK}": (lambda: read_and_loads(connection), ours),
                "rows and reading the facts": (lambda: read_only(connection), ours),
                "ours: re-check, every job judged": (lambda: recheck(connection, small.packs, None), ours),
                "ours: re-check, texts for other cars": (
                    lambda: recheck(connection, grown, small.packs),
                    ours,
                ),
                **peers,
                **sixty_items(),
            },
            repeats,
        )
        connection.close()
    gc.unfreeze()
    ratios = ratios_of(times)
    show(small, times, ratios, absent)
    return times | ratios


def sixty_items() -> dict[str, tuple[Callable[[], object], int]]:
    """The finished windshield job: sixty records, drive, voltage and climate logs among them."""
    job, packs, gate = windshield_job(), packs_on_file(), at("11:50")
    data = record_bytes(job)
    assert read_facts(data) == job

    def judge() -> None:
        position_deg.cache_clear()  # a job that comes again would find its sun's places kept
        assess(packs, fresh(job), as_of=gate)

    return {
        "sixty items: read stored facts": (lambda: read_facts(data), 1),
        "sixty items: full judgement": (judge, 1),
    }


def ratios_of(times: dict[str, float]) -> dict[str, float]:
    full, alone = times["ours: full judgement"], "zen-engine, decision table, alone"
    required_only = times["ours: which procedures are required"]
    best_alone = min((times[name] for name in (alone, "jsonschema-rs, alone") if name in times), default=None)
    handed = [seconds for name, seconds in times.items() if name.endswith("with our index")]
    found = {
        "R3 bytes to full findings / loads": times["ours: bytes to full findings"]
        / times[f"floor: {QUICK}, stored facts"],
        "R4 full judgement, 4,000 rules / 400": times["ours: full judgement, 4,000 rules"] / full,
        "R4 required only, 4,000 rules / 400": times["ours: the same, 4,000 rules"] / required_only,
        "R4 control without index": times["control: without index, 4,000 rules"]
        / times["control: the same without index"],
        "R5 every job judged / rows and loads": times["ours: re-check, every job judged"]
        / times[f"floor: rows and {QUICK}"],
        "R5 every job judged / rows and reading": times["ours: re-check, every job judged"]
        / times["rows and reading the facts"],
        "R5 texts for other cars / rows and reading": times["ours: re-check, texts for other cars"]
        / times["rows and reading the facts"],
        "S1 full judgement / reading": times["sixty items: full judgement"]
        / times["sixty items: read stored facts"],
        "S1 milliseconds": times["sixty items: full judgement"] * 1000,
    }
    if best_alone is not None:
        found["R1 full judgement, jobs/s over the best peer alone"] = best_alone / full
        found["R1 required only, jobs/s over the best peer alone"] = best_alone / required_only
    if handed:
        found["R2 full judgement, jobs/s over the best peer with our index"] = min(handed) / full
    return found


def show(work: Bench, times: dict[str, float], ratios: dict[str, float], absent: list[str]) -> None:
    out = sys.stdout.write
    hits = len([1 for job in work.jobs for _ in job.expected]) / len(work.jobs)
    size = (
        len(work.flat[0]),
        leaves(work.jobs[0].flat),
        len(work.stored[0]),
        leaves(json.loads(work.stored[0])),
    )
    out(f"{len(work.rules)} rules, {len(work.jobs)} jobs, {hits:.1f} rules apply; ")
    out("flat document {} bytes, {} leaves; stored facts {} bytes, {} leaves\n".format(*size))
    for name, seconds in times.items():
        out(f"{seconds * 1e6:12,.1f} us {1 / seconds:12,.0f}/s  {name}\n")
    for name, value in sorted(ratios.items()):
        out(f"{value:12,.3f}  {name}\n")
    if absent:
        out(f"not installed, left out: {', '.join(absent)}\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=10_000, help="jobs for floors and peers")
    parser.add_argument("--judged", type=int, default=300, help="jobs judged in full in each turn")
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--makes", type=int, default=200, help="makes of the larger set, 20 rules each")
    given = parser.parse_args()
    run(count=given.jobs, ours=given.judged, repeats=given.repeats, many=given.makes)
