"""any_of: any way met is met; else any not shown is not shown; else not met."""

from dataclasses import replace
from itertools import product

import pytest

from rules.assess import assess
from rules.checks.alternatives import judge_alternatives
from rules.checks.base import CheckContext
from rules.checks.library import run_check
from rules.packs.model import PackSet
from rules.verdict import Number, Outcome, Verdict
from tests.rules.builders import at, check_context
from tests.rules.packs_on_file import packs_on_file, procedure, proof
from tests.rules.windshield_job import unsigned_job, windshield_job

MET = Outcome(verdict="met", sentence="It is there.", evidence=("a",), instruments=("TM-014",))
NOT_MET = Outcome(
    verdict="not_met", reasons=("outside_limit",), sentence="Too far.", change="Move it.", settle="now",
    numbers=(Number(name="distance", value=1.0, unit="mm"),), evidence=("b",),
)  # fmt: skip
NOT_SHOWN = Outcome(
    verdict="not_shown", reasons=("missing",), sentence="Nothing.", change="File it.", settle="desk",
)  # fmt: skip


def a_context() -> CheckContext:
    """The result of the governing road session, which reports completion."""
    job = unsigned_job()
    road = next(one for one in job.sessions if one.procedure_id == "OV-FC-ROAD")
    return check_context(job, procedure("OV-FC-ROAD"), proof("OV-FC-ROAD", "done"), road)


OUTCOMES: dict[Verdict, Outcome] = {"met": MET, "not_met": NOT_MET, "not_shown": NOT_SHOWN}


def judged(*verdicts: Verdict) -> Outcome:
    context = a_context()
    ways = tuple(replace(context.proof, check=f"way{place}") for place, _ in enumerate(verdicts))
    several = replace(context, proof=replace(context.proof, check="any_of", alternatives=ways))
    said = dict(zip((way.check for way in ways), verdicts, strict=True))
    return judge_alternatives(several, lambda own: OUTCOMES[said[own.proof.check]])


@pytest.mark.parametrize("verdicts", list(product(OUTCOMES, repeat=2)) + list(product(OUTCOMES, repeat=3)))
def test_truth_table(verdicts: tuple[Verdict, ...]) -> None:
    expected = "met" if "met" in verdicts else "not_shown" if "not_shown" in verdicts else "not_met"
    found = judged(*verdicts)
    assert found.verdict == expected
    assert (found.reasons == ()) is (expected == "met")


def test_met_rests_on_the_way_that_is_met_and_on_no_other() -> None:
    found = judged("not_met", "met")
    assert (found.evidence, found.instruments, found.change) == (("a",), ("TM-014",), "")
    assert found.sentence == "One of 2 ways is enough. It is there."


def test_reasons_of_the_verdict_s_own_strength_come_first() -> None:
    found = judged("not_met", "not_shown")
    assert found.reasons == ("missing", "outside_limit")
    assert [number.name for number in found.numbers] == ["way_1_distance"]
    assert found.change == "One of these: Way 1: Move it. Way 2: File it."
    assert found.settle == "desk"  # the easiest way is enough
    assert judged("not_met", "not_met").reasons == ("outside_limit",)


def test_the_library_judges_each_way_by_its_own_check() -> None:
    context: CheckContext = a_context()
    unknown = replace(context.proof, check="no_such_check")
    several = replace(context.proof, check="any_of", alternatives=(unknown, unknown))
    found = run_check(replace(context, proof=several))
    assert (found.verdict, found.reasons) == ("not_shown", ("not_judged",))
    alone = run_check(context)
    with_other = replace(context.proof, check="any_of", alternatives=(context.proof, unknown))
    both = run_check(replace(context, proof=with_other))
    assert (alone.verdict, both.verdict) == ("met", "met")
    assert both.evidence == alone.evidence


def test_a_whole_job_with_a_choice_in_its_pack() -> None:
    """The fitted systems are established; the other way cannot be judged: one of the two is enough."""
    common, *others = packs_on_file().editions
    every = common.procedure("CP-EVERY")
    assert every is not None

    def chosen(*checks: str) -> tuple[str, tuple[str, ...], str]:
        fit = next(one for one in every.proofs if one.id == "fit")
        ways = tuple(replace(fit, check=check) for check in checks)
        choice = replace(fit, check="any_of", arguments={}, alternatives=ways)
        proofs = tuple(choice if one.id == "fit" else one for one in every.proofs)
        procedures = (replace(every, proofs=proofs),)
        rest = tuple(one for one in common.procedures if one.id != "CP-EVERY")
        edition = replace(common, procedures=procedures + rest)
        result = assess(PackSet(editions=(edition, *others)), windshield_job(), as_of=at("11:50"))
        found = next(
            one for one in result.findings if (one.procedure_id, one.proof_id) == ("CP-EVERY", "fit")
        )
        return found.verdict, found.outcome.reasons, result.disposition

    assert chosen("horoscope", "fit_known") == ("met", (), "release")
    assert chosen("horoscope", "palmistry") == ("not_shown", ("not_judged",), "hold")


def test_a_proof_without_a_way_is_never_met() -> None:
    context = a_context()
    found = run_check(replace(context, proof=replace(context.proof, check="any_of")))
    assert found.verdict == "not_shown"
