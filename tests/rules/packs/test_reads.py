"""What a condition reads: equal reads, equal words; a requirement said before is the one said anew."""

from rules import requirements
from rules.editions import editions_at
from tests.bench.workload import GATE, by_make, jobs, pack_set, rules


def test_requirements_said_before_are_those_said_anew() -> None:
    chosen = rules(3)
    packs = pack_set(chosen)
    seen = 0
    for job in jobs(150, by_make(chosen)):
        editions = editions_at(packs, job.facts, GATE)
        kept = requirements.determine(editions, job.facts)
        requirements._in_words.clear()
        assert requirements.determine(editions, job.facts) == kept
        seen += len({item.state for item in kept})
    assert seen > 150


def test_few_are_kept_and_all_are_said() -> None:
    chosen = rules(1)
    packs = pack_set(chosen)
    before = requirements.KEPT_IN_WORDS
    try:
        requirements.KEPT_IN_WORDS = 3  # type: ignore[misc]
        for job in jobs(20, by_make(chosen)):
            editions = editions_at(packs, job.facts, GATE)
            requirements.determine(editions, job.facts)
            assert len(requirements._in_words) <= 3
    finally:
        requirements.KEPT_IN_WORDS = before  # type: ignore[misc]
