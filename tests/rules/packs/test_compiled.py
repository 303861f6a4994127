"""Compiled triggers against the plain interpreter: random packs on random facts, and every known job."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import Closing, EstimateLine, FittedWay, JobFacts, OperationDone, TroubleCode
from rules.packs.compiled import compiled, projected
from rules.packs.model import Citation, Condition, PackEdition, Procedure, Source, Trigger
from rules.requirements import determine
from rules.vocabulary import SENSORS
from tests.rules import builders
from tests.rules.builders import CORRAN, EASTMARCH, at, held, moment
from tests.rules.contradictions import CASES
from tests.rules.packs_on_file import packs_on_file
from tests.rules.plain_interpreter import fitted, requirement_states, trigger_truths
from tests.rules.windshield_job import windshield_job

FEW_SENSORS = ("forward_camera", "front_radar", "steering_angle_sensor")
NAMES = (
    "bumper.front.refitted", "glass.windshield.replaced", "wheel.size.changed", "module.any.reprogrammed",
    "tyre.replaced", "x.added.work",
)  # fmt: skip
CODES = ("C1A45", "C1A45-54", "B2201-08")
CITE = Citation(source=Source(id="s", kind="common_practice"))

few = st.lists(st.sampled_from(FEW_SENSORS), min_size=1, max_size=2, unique=True).map(tuple)
names = st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True).map(tuple)
days = st.none() | st.dates(date(2024, 1, 1), date(2026, 12, 31))
leaf = st.one_of(
    st.just(Condition(kind="always")),
    st.just(Condition(kind="no_maker_pack")),
    st.builds(lambda n: Condition(kind="fitted", names=n), few | st.just(("any_sensor",))),
    st.builds(lambda n: Condition(kind="touched", names=n), few | st.just(("any_sensor",))),
    st.builds(lambda n: Condition(kind="operation", names=n), names),
    st.builds(
        lambda m, n: Condition(kind="code_seen", module=m, names=(n,)),
        st.sampled_from(FEW_SENSORS),
        st.sampled_from(CODES),
    ),
    st.builds(lambda n: Condition(kind="model", names=(n,)), st.sampled_from(("Corran", "Sedge"))),
    st.builds(
        lambda a, b: Condition(kind="year", years=(a, a + b)), st.integers(2024, 2027), st.integers(0, 2)
    ),
    st.builds(lambda a, b: Condition(kind="built", built=(a, b)), days, days),
)
condition = st.recursive(
    leaf,
    lambda inner: st.builds(
        lambda kind, parts: Condition(kind=kind, parts=tuple(parts)),
        st.sampled_from(("all", "all", "any", "none")),
        st.lists(inner, min_size=1, max_size=4),
    ),
    max_leaves=8,
)


def procedure(name: str) -> Procedure:
    return Procedure(id=name, title=f"Title of {name}", kind="static", cite=CITE, proofs=())


def edition(pack: str, triggers: list[Trigger], **fields: Any) -> PackEdition:
    base: dict[str, Any] = {
        "pack": pack, "edition": 1, "title": pack, "sha256": "", "in_force_from": date(2026, 1, 1),
        "makes": (), "model_years": None, "builds_on": (), "sources": (), "z": 1.645, "speaks_for": (),
        "depends_on": {}, "not_needed": (), "procedures": tuple(procedure(name) for name in ("P-1", "P-2")),
    }  # fmt: skip
    return PackEdition(**{**base, "triggers": tuple(triggers), **fields})


def trigger(number: int, when: Condition, calls_for: str) -> Trigger:
    by_model = () if calls_for else (("Sedge", "P-1"),)
    return Trigger(
        id=f"T-{number}",
        plain="plain",
        when=when,
        calls_for=calls_for,
        by_model=by_model,
        before=(),
        cite=CITE,
    )


@st.composite
def editions(draw: Any) -> tuple[PackEdition, ...]:
    def some(pack: str) -> list[Trigger]:
        drawn = draw(st.lists(st.tuples(condition, st.sampled_from(("P-1", "P-2", "P-9", ""))), max_size=5))
        return [trigger(number, when, name) for number, (when, name) in enumerate(drawn)]

    zones = draw(st.sampled_from(({}, {"x.added.work": ("front_radar",)})))
    years = draw(st.sampled_from((None, (2020, 2025), (2026, 2030))))
    return (
        edition("common", some("common")),
        edition("house", some("house"), makes=("Orrinvale",), house=True),
        edition("maker", some("maker"), makes=("Orrinvale",), speaks_for=("front_radar",), zones=zones),
        edition("old", some("old"), makes=("Orrinvale",), model_years=years),
    )


def _ended(row: Any, when: str | None, how: str) -> Any:
    return row if when is None else replace(row, ended_at=at(when), ended_how=how)


times = st.sampled_from(("08:00", "09:00", "10:00", "11:00"))
endings = st.tuples(
    st.sampled_from((None, None, None, "08:30", "10:30")), st.sampled_from(("withdrawn", "corrected"))
)


@st.composite
def facts(draw: Any) -> JobFacts:
    def rows(make: Any, most: int) -> tuple[Any, ...]:
        count = draw(st.integers(0, most))
        return tuple(_ended(make(number), *draw(endings)) for number in range(count))

    def way(number: int) -> FittedWay:
        return FittedWay(
            **held(f"way-{number}", draw(times)),
            sensor=draw(st.sampled_from(FEW_SENSORS)),
            state=draw(st.sampled_from(("yes", "yes", "no", "unknown"))),
            way=draw(st.sampled_from(("build_data", "sight", "scan_module"))),
            at=moment("08:00"),
        )

    def operation(number: int) -> OperationDone:
        detail = draw(st.sampled_from((None, "forward_camera")))
        name = draw(st.sampled_from(NAMES))
        return OperationDone(**held(f"op-{number}", draw(times)), operation=name, by="a", zone_detail=detail)

    def line(number: int) -> EstimateLine:
        named = draw(st.lists(st.sampled_from(NAMES), max_size=2).map(tuple))
        return EstimateLine(
            **held(f"line-{number}", draw(times)), line_no=number, text="", operations=named,
            touches_nothing=draw(st.booleans()),
        )  # fmt: skip

    def closing(number: int) -> Closing:
        return Closing(**held(f"close-{number}", draw(times)), at=moment("10:00"), by="a")

    def scan(number: int) -> Any:
        code, failure = draw(st.sampled_from((("C1A45", "54"), ("C1A45", None), ("B2201", "08"))))
        shown = draw(st.sampled_from(((), (TroubleCode(code=code, ftb=failure, state="stored"),))))
        part = builders.module(
            "Camera", draw(st.sampled_from(FEW_SENSORS)), *shown, answered=draw(st.booleans())
        )
        stage = draw(st.sampled_from(("before_repair", "before_calibration", "final")))
        vin = draw(st.sampled_from((CORRAN.vin, "Z0ASD1F89S2011835")))
        return builders.scan(f"scan-{number}", stage, draw(times), (part,), vin)

    vehicle = replace(
        CORRAN,
        model=draw(st.sampled_from(("Corran", "Sedge"))),
        model_year=draw(st.sampled_from((2024, 2026))),
        make=draw(st.sampled_from(("Orrinvale", "Kestmoor"))),
        build_date=draw(days),
    )
    return JobFacts(
        job_id="j", order_number="1", organisation="o", refusal_allowed=True, place=EASTMARCH,
        opened=moment("07:00"), vehicle=vehicle, fitted_ways=rows(way, 7), operations=rows(operation, 3),
        estimate_lines=rows(line, 2), closings=rows(closing, 2), scans=rows(scan, 2),
    )  # fmt: skip


def by_closures(chosen: tuple[PackEdition, ...], job: JobFacts) -> dict[tuple[str, int, str], str]:
    """What the compiled triggers say: those the index leaves out are false."""
    ready = compiled(chosen, job)
    found = dict(ready.truths(job))
    return {
        (call.edition.pack, call.edition.edition, call.trigger.id): found.get(place, "false")
        for place, call in enumerate(ready.calls)
    }


def assert_agree(chosen: tuple[PackEdition, ...], job: JobFacts) -> None:
    plainly = trigger_truths(chosen, job)
    assert by_closures(chosen, job) == plainly
    requirements = determine(chosen, job)
    assert {one.procedure_id: one.state for one in requirements} == requirement_states(chosen, job)
    explained = {
        (why.pack, why.edition, why.trigger_id): why.truth for one in requirements for why in one.because
    }
    assert explained == plainly
    # The first part of an explanation is the whole condition.
    assert all(why.parts[0].truth == why.truth for one in requirements for why in one.because)


@settings(max_examples=300, deadline=None)
@given(editions(), facts())
def test_random_packs_on_random_facts(chosen: tuple[PackEdition, ...], job: JobFacts) -> None:
    assert_agree(chosen, job)


@pytest.mark.parametrize("number", range(len(CASES)))
def test_known_jobs(number: int) -> None:
    job = CASES[number].facts()
    for on in (date(2026, 5, 5), date(2026, 10, 20)):
        assert_agree(packs_on_file().in_force(on), job)


def test_the_finished_job_record_by_record() -> None:
    job = windshield_job()
    chosen = packs_on_file().in_force(date(2026, 5, 5))
    for field in ("operations", "closings", "fitted_ways", "scans", "estimate_lines"):
        for place in range(len(getattr(job, field))):
            rows = list(getattr(job, field))
            del rows[place]
            assert_agree(chosen, replace(job, **{field: tuple(rows)}))


@given(facts())
def test_what_is_projected_is_what_the_record_shows(job: JobFacts) -> None:
    assert {sensor: fitted(job, sensor) for sensor in SENSORS} == projected(job).fitted


def test_two_editions_of_one_hash_are_not_taken_for_each_other() -> None:
    job = windshield_job()
    never = edition("p", [trigger(1, Condition(kind="none", parts=(Condition(kind="always"),)), "P-1")])
    always = edition("p", [trigger(1, Condition(kind="always"), "P-1")])
    assert [determine((one,), job)[0].state for one in (never, always, never)] == [
        "not_required", "required", "not_required",
    ]  # fmt: skip


def test_what_was_worked_out_of_one_snapshot_is_not_told_of_another() -> None:
    job = windshield_job()
    chosen = packs_on_file().in_force(date(2026, 5, 5))
    before = determine(chosen, job)
    opened = replace(job, closings=())
    assert determine(chosen, opened) != before
    assert determine(chosen, job) == before
    late = replace(
        job, closings=tuple(replace(c, received_at=c.received_at + timedelta(0)) for c in job.closings)
    )
    assert determine(chosen, late) == before
