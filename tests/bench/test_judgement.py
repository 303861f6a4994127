"""The timings in miniature, so that they cannot rot: every verdict compared, every row and ratio there."""

import pytest

from tests.bench.judgement import bench, run, verdicts
from tests.bench.peers import PEERS, installed
from tests.bench.workload import by_make, jobs, leaves, rules


def test_the_run_compares_every_verdict_and_gives_every_ratio(capsys: pytest.CaptureFixture[str]) -> None:
    found = run(count=8, ours=4, repeats=1, many=21)
    for name in ("R3", "R4", "R5", "S1"):
        assert any(key.startswith(name) and value > 0 for key, value in found.items())
    told = capsys.readouterr().out
    for peer in PEERS:
        assert peer.name in told  # timed, or named as left out


def test_the_workload_is_what_it_says() -> None:
    chosen = rules(20)
    some = jobs(400, by_make(chosen))
    assert len(chosen) == 400
    assert 2.7 < sum(len(job.expected) for job in some) / len(some) < 3.7
    assert 220 <= leaves(some[0].flat) <= 280
    # Every combination of met and not met comes up.
    assert len({met for job in some for met in job.expected.values()}) == 64
    assert rules(40)[:400] == chosen


def test_a_wrong_expectation_is_noticed() -> None:
    work = bench(1, 4)
    job = next(job for job in work.jobs if job.expected)
    name, met = next(iter(job.expected.items()))
    assert verdicts(work.packs, job.facts)[name] == met
    assert verdicts(work.packs, job.facts)[name] != (not met[0], *met[1:])


@pytest.mark.parametrize("peer", PEERS, ids=lambda peer: peer.name)
def test_a_peer_gives_the_same_verdicts(peer: object) -> None:
    library = installed(peer)  # type: ignore[arg-type]
    if library is None:
        pytest.skip(f"{peer.name} is not installed (dependency group bench)")  # type: ignore[attr-defined]
    chosen = rules(2)
    for job in jobs(12, by_make(chosen)):
        if peer.alone is not None:  # type: ignore[attr-defined]
            assert peer.alone(library, chosen)(job.flat) == job.expected  # type: ignore[attr-defined]
        if peer.handed is not None:  # type: ignore[attr-defined]
            handed = peer.handed(library, chosen)  # type: ignore[attr-defined]
            assert handed(job.flat, list(job.expected)) == job.expected
