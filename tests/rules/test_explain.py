"""Every verdict is explained: required and where, what the record shows, why, and what would change it."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest

from rules.display import number_text, place_of
from rules.explain import Explanation, explanations, readable, requirement_table
from rules.facts import Delivery, JobFacts
from rules.result import Assessment
from rules.verdict import NOT_MET_REASONS, REASON_ORDER, Finding, Number, Outcome
from rules.why import why_of
from tests.rules.builders import held, moment
from tests.rules.contradictions import CASES
from tests.rules.weakening import GATE, WAYS, changed, judged, places, weakened
from tests.rules.windshield_job import unsigned_job, windshield_job

DONE = windshield_job()
# Of the ways a sensor was found every one stands as an example for the others.
ALIKE = ("fitted-forward", "fitted-lidar")
PARTS = ("required", "citation", "shows", "why")
FIELDS = sorted({field for field, _ in places(DONE)})


def running(facts: JobFacts, **changes: object) -> JobFacts:
    """The session still runs: it has no end, and nothing of later is there."""
    first = facts.sessions[0]
    session = replace(first, ended=None, result="", received_at=first.started.high)
    return replace(facts, sessions=(session,), **changes)  # type: ignore[arg-type]


def gone(facts: JobFacts) -> JobFacts:
    delivery = Delivery(**held("delivery", "11:55"), at=moment("11:55"))
    return replace(facts, delivery=delivery)


def jobs_of(field: str) -> Iterator[tuple[str, JobFacts]]:
    for place in places(DONE):
        if place[0] != field or (field == "fitted_ways" and not place[1].startswith(ALIKE)):
            continue
        for how in WAYS:
            yield f"{place[1]} {how}", weakened(DONE, place, how)


def stages() -> Iterator[tuple[str, JobFacts, str]]:
    job = unsigned_job()
    yield "finished", DONE, GATE
    yield "unsigned", job, GATE
    yield "not begun", replace(job, sessions=()), "10:20"
    yield "running", running(job), "10:40"
    little: dict[str, object] = dict.fromkeys(
        ("readings", "statements", "lamp_records", "voltage_logs", "scans", "photos", "files"), ()
    )
    yield "running, little on record", running(job, **little), "10:40"
    yield "left", gone(replace(job, scans=(), lamp_records=())), "12:00"


def told(result: Assessment) -> tuple[tuple[Finding, Explanation], ...]:
    return tuple(zip(result.findings, explanations(result), strict=True))


def faults_of(item: Finding, one: Explanation) -> list[str]:
    """Everything in which an explanation falls short of the pattern."""
    found = [f"{name} is empty" for name in PARTS if not getattr(one, name).strip()]
    if one.required.endswith(".") or not one.text.startswith(f"{one.required} ({one.citation})."):
        found.append("the paragraph does not open with what was required and where that stands")
    found += [
        f"{name} is no sentence: {getattr(one, name)}"
        for name in ("shows", "why", "change")
        if getattr(one, name) and not re.fullmatch(r"[A-Z0-9].*[.?]", getattr(one, name))
    ]
    if re.search(r"\d degC|\d{4}-\d\d-\d\d|[Tt]yre|_", f"{one.required} {one.shows} {one.why} {one.change}"):
        found.append("a form of data, not of reading")
    is_met = one.verdict == "met"
    if is_met != (not one.change) or is_met != (not one.can_be_done):
        found.append("what would change it is told exactly when it is short of met")
    return found + [fault for number in item.outcome.numbers for fault in contradictions(number)]


def contradictions(number: Number) -> list[str]:
    """A printed value must lie on the same side of its printed limits as the exact one of the exact ones."""
    text = number_text(number)
    if number.value is None or not text.limit:
        return []
    shown = float(re.sub(r"[^0-9.+-]", "", text.value.replace("−", "-").split(" ")[0]))
    limits = [float(bound.replace("−", "-")) for bound in re.findall(r"[−-]?\d+(?:\.\d+)?", text.limit)]
    exact = [bound for bound in (number.lower, number.upper) if bound is not None]
    found = []
    for printed, bound in zip(limits, exact, strict=True):
        if ((shown > printed) - (shown < printed)) != ((number.value > bound) - (number.value < bound)):
            found.append(f"{text.words} hides on which side of {bound} {number.value} lies")
    accepted = [float(edge.replace("−", "-")) for edge in re.findall(r"[−-]?\d+(?:\.\d+)?", text.accepted)]
    if accepted and not text.accepted.startswith("none"):
        inside = (number.lower is None or shown >= accepted[0]) and (
            number.upper is None or shown <= accepted[-1]
        )
        if inside != (place_of(number) == "met"):
            found.append(f"{text.words}: the accept zone in print tells another verdict")
    return found


def check_all(name: str, result: Assessment) -> None:
    for item, one in told(result):
        assert faults_of(item, one) == [], (name, one.procedure_id, one.proof_id, one.text)


@pytest.mark.parametrize(("name", "facts", "when"), [pytest.param(*stage, id=stage[0]) for stage in stages()])
def test_every_stage_of_a_job_is_explained(name: str, facts: JobFacts, when: str) -> None:
    check_all(name, judged(facts, when))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_every_contradicted_job_is_explained(case) -> None:  # type: ignore[no-untyped-def]
    check_all(case.name, judged(case.facts()))


@pytest.mark.parametrize("field", FIELDS)
def test_every_weakened_job_is_explained(field: str) -> None:
    for name, facts in jobs_of(field):
        check_all(name, judged(facts))


def test_the_walk_sees_what_is_missing() -> None:
    item, one = told(judged(unsigned_job()))[-1]
    for name in ("required", "shows", "why"):
        assert any(name in fault for fault in faults_of(item, replace(one, **{name: ""})))
    opened = next(pair for pair in told(judged(unsigned_job())) if pair[1].verdict != "met")
    assert faults_of(opened[0], replace(opened[1], change=""))
    assert faults_of(opened[0], replace(opened[1], shows="Read at 12.4 degC."))


def test_a_limit_printed_too_short_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    number = Number(name="front_left", value=219.96, unit="kPa", lower=220.0)
    assert contradictions(number) == []
    monkeypatch.setattr("rules.display.decimals_of", lambda number: 1)
    assert contradictions(number)


# ------------------------------------------------------------------ evidence and numbers


def explained(result: Assessment, procedure: str, proof: str) -> Explanation:
    return next(one for one in explanations(result) if (one.procedure_id, one.proof_id) == (procedure, proof))


def test_the_evidence_has_the_numbers_of_the_job() -> None:
    facts = changed(DONE, ("photos", "photo-mark"), number=7)
    one = explained(judged(facts), "CP-BOND", "part")
    assert 7 in one.evidence
    assert "Evidence 7 shows safety mark." in one.shows
    assert "By evidence" in one.text


def test_a_reading_is_named_with_the_files_that_show_it() -> None:
    facts = changed(DONE, ("readings", "tyres-front_left"), evidence=("photo-mark",))
    one = explained(judged(facts), "OV-FC-ROAD", "tyres")
    assert any(
        re.fullmatch(r"reading tire pressure front left \(evidence \d+\)", name) for name in one.rests_on
    )
    assert one.instruments == ("PG-022",)


# ------------------------------------------------------------------ when it can still be settled


def settles(facts: JobFacts, when: str, procedure: str, proof: str) -> tuple[str, str]:
    one = explained(judged(facts, when), procedure, proof)
    return one.settle, one.can_be_done


def test_a_statement_can_be_made_now_while_the_session_runs_and_not_once_it_is_over() -> None:
    job = replace(unsigned_job(), statements=())
    assert settles(running(job), "10:40", "OV-FC-ROAD", "road")[0] == "now"
    settle, words = settles(job, GATE, "OV-FC-ROAD", "road")
    assert settle == "car_here"
    assert words == "The session is over, so it takes a new one. This can be done with the car here."


def test_before_any_session_nothing_is_set_up() -> None:
    job = replace(unsigned_job(), sessions=(), statements=())
    assert settles(job, "10:20", "OV-FC-ROAD", "road")[0] == "car_here"


def test_once_the_car_has_left_only_papers_can_be_settled() -> None:
    job = gone(replace(unsigned_job(), scans=(), statements=()))
    assert settles(job, "12:00", "OV-FC-ROAD", "road") == (
        "never",
        "The car has left. This cannot be repaired.",
    )
    assert settles(job, "12:00", "CP-EVERY", "sign")[0] == "desk"
    assert settles(replace(job, delivery=None), "12:00", "CP-EVERY", "final")[0] == "car_here"
    assert settles(job, "12:00", "CP-EVERY", "final")[0] == "never"


def test_a_drive_before_the_adhesive_was_ready_cannot_be_repaired() -> None:
    case = next(case for case in CASES if case.reasons == ("adhesive_early",))
    assert settles(case.facts(), GATE, "CP-BOND", "ready")[0] == "never"


def test_a_scan_before_the_repair_can_be_made_until_the_work_begins() -> None:
    job = replace(unsigned_job(), scans=(), sessions=())
    assert settles(job, GATE, "CP-EVERY", "before")[0] == "never"
    planned = replace(job, operations=(), glass_sets=())
    assert settles(planned, "08:10", "CP-EVERY", "before")[0] == "car_here"


def test_an_order_that_is_past_cannot_be_repaired_and_a_later_step_can_be_repeated() -> None:
    case = next(
        case for case in CASES if case.name == "the last scan before the repair came after work began"
    )
    assert settles(case.facts(), GATE, "CP-EVERY", "order")[0] == "never"


# ------------------------------------------------------------------ words


def test_every_reason_has_its_why() -> None:
    for code in REASON_ORDER:
        assert why_of((code,)).endswith(".")
        assert why_of((code,)) != f"{code}."
    assert len({why_of((code,)) for code in NOT_MET_REASONS}) == len(NOT_MET_REASONS)


def test_sentences_are_printed_for_reading() -> None:
    assert readable("tyre at 17.2 degC, 10:10 on 2026-05-05, since 2026-05-05 08:50") == (
        "tire at 17.2 °C, 10:10 on 5 May 2026, since 5 May 2026, 08:50"
    )
    assert readable("2026-13-45") == "2026-13-45"


def test_a_finding_of_an_earlier_version_is_shown_whole() -> None:
    old = Outcome(verdict="met", sentence="Something is asked for (common practice). It is there.")
    item = replace(judged(DONE).findings[0], outcome=old)
    result = replace(judged(DONE), findings=(item,))
    assert explanations(result)[0].shows == old.sentence


# ------------------------------------------------------------------ requirements


def test_each_part_of_each_trigger_has_its_fact() -> None:
    table = requirement_table(judged(DONE))
    assert table.statement == "required"
    camera = next(item for item in table.requirements if item.procedure_id == "OV-FC-ROAD")
    trigger = next(item for item in camera.triggers if item.truth == "true")
    assert all(part.fact for part in trigger.parts)
    fitted = next(part for part in trigger.parts if part.text.startswith("fitted"))
    assert (fitted.truth, fitted.fact) == (
        "true",
        "forward camera: build data says yes; sight says yes",
    )


def test_nothing_required_shows_every_trigger_false_and_who_said_not_needed() -> None:
    """A chip filled outside the camera window: the maker's text says that nothing follows from it."""
    base = unsigned_job()
    chip = replace(base.operations[0], operation="glass.windshield.chip_filled")
    line = replace(base.estimate_lines[0], operations=("glass.windshield.chip_filled",))
    facts = replace(base, operations=(chip,), estimate_lines=(line,), glass_sets=(), sessions=(), lookups=())
    table = requirement_table(judged(facts))
    assert table.statement == "nothing_required"
    asked = [item for item in table.requirements if item.procedure_id not in ("CP-EVERY", "CP-BOND")]
    assert asked
    assert all(item.triggers for item in asked)
    assert {trigger.truth for item in asked for trigger in item.triggers} == {"false"}
    said = table.not_needed
    assert [(one.sensor, one.operation, one.citation) for one in said] == [
        ("Forward camera", "windshield chip filled", "OV-SI-2114, edition 2026-02, 1.5")
    ]
