"""Running the examples a pack carries: do its triggers still give what its author wrote down?"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Final, Literal

from rules.checks.drive import CountedTime
from rules.checks.solved import Decided, NotDecidableError, decide_counted, decide_solved
from rules.facts import (
    Closing,
    FittedWay,
    JobFacts,
    Moment,
    OffsetFrom,
    OperationDone,
    Place,
    Scan,
    ScanModule,
    TroubleCode,
    Vehicle,
)
from rules.packs.errors import did_you_mean
from rules.packs.example_text import STATES
from rules.packs.layering import decision_factor, resolve
from rules.packs.model import Example, PackEdition, Proof
from rules.requirements import determine
from rules.scans import normal_code
from rules.vocabulary import SENSORS

# An instant for facts that have no time in an example; only their presence counts.
_AT: Final = datetime(2026, 1, 1, 12, 0, tzinfo=UTC)
_MOMENT: Final = Moment.exact(_AT)
_VIN: Final = "00000000000000000"
_WAYS: Final = ("build_data", "sight")


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleResult:
    """``outcome`` is ok, failed or not_run; ``message`` says what came out instead, or why not run."""

    name: str
    line: int
    outcome: Literal["ok", "failed", "not_run"]
    message: str = ""


def run_examples(edition: PackEdition, beside: tuple[PackEdition, ...] = ()) -> tuple[ExampleResult, ...]:
    """Run every example of ``edition`` with the packs ``beside`` it in force.

    ``failed``: something else came out, or the example names what is not there. ``not_run``: it cannot be
    carried out as written, and the message tells its author what to mend. Neither counts as ok.
    """
    company = tuple(other for other in beside if other.pack != edition.pack)
    editions = resolve((*company, edition))
    return tuple(_run(example, edition, editions) for example in edition.examples)


def is_about_proof(example: Example) -> bool:
    """True for an example about one proof, false for one about what a job needs."""
    return "proof" in example.given or any(key not in STATES for key in example.expect)


def _run(example: Example, edition: PackEdition, editions: tuple[PackEdition, ...]) -> ExampleResult:
    try:
        if is_about_proof(example):
            wrong = _wrong_of_proof(example, editions)
        else:
            wrong = _wrong_of_states(example, edition, editions)
    except NotDecidableError as error:
        return ExampleResult(name=example.name, line=example.line, outcome="not_run", message=str(error))
    return ExampleResult(
        name=example.name,
        line=example.line,
        outcome="failed" if wrong else "ok",
        message="; ".join(wrong),
    )


def _wrong_of_states(example: Example, edition: PackEdition, editions: tuple[PackEdition, ...]) -> list[str]:
    facts = example_facts(example, edition)
    states = {one.procedure_id: one.state for one in determine(editions, facts)}
    wrong = []
    for state in STATES:
        for procedure_id in _texts(example.expect, state):
            found = states.get(procedure_id)
            if found is None:
                wrong.append(
                    f"{procedure_id}: expected {state}, {_why_absent(procedure_id, states, edition, facts)}"
                )
            elif found != state:
                wrong.append(f"{procedure_id}: expected {state}, found {found}")
    return wrong


def _why_absent(name: str, states: Mapping[str, str], edition: PackEdition, facts: JobFacts) -> str:
    vehicle = facts.vehicle
    for trigger in edition.triggers:
        if trigger.id in states and name in [called for _model, called in trigger.by_model]:
            return f"but {trigger.id} names no procedure for this model: expect cannot_tell: [{trigger.id}]"
    if not edition.covers(vehicle.make, vehicle.model_year, vehicle.model):
        shown = f"{vehicle.make} {vehicle.model} {vehicle.model_year}"
        return f"but {edition.pack} does not cover the vehicle {shown} (see covers)"
    return f"called for by no trigger on this vehicle{did_you_mean(name, tuple(states))}"


def _wrong_of_proof(example: Example, editions: tuple[PackEdition, ...]) -> list[str]:
    proof = proof_of(example, editions)
    if proof is None:
        named = f"{example.given.get('procedure')}, {example.given.get('proof')}"
        return [f"{named}: no such proof stands here{_proof_hint(example, editions)}"]
    rows = decided_rows(example, proof, decision_factor(editions))
    expected = _texts(example.expect, "verdicts") or (str(example.expect.get("verdict", "")),)
    if len(expected) != len(rows):
        raise NotDecidableError("give one verdict for each row of values")
    wrong = []
    for place, (verdict, row) in enumerate(zip(expected, rows, strict=True), start=1):
        if verdict != row.verdict:
            why = f" ({', '.join(row.reasons)})" if row.reasons else ""
            which = f"row {place}: " if len(rows) > 1 else ""
            wrong.append(f"{which}expected {verdict}, found {row.verdict}{why}")
    reason = example.expect.get("reason")
    if reason is not None and reason not in rows[0].reasons:
        found = ", ".join(rows[0].reasons) or "no reason"
        wrong.append(f"expected the reason {reason}, found {found}")
    return wrong


def proof_of(example: Example, editions: tuple[PackEdition, ...]) -> Proof | None:
    """The proof that an example is about, as it stands with every house rule laid over it."""
    for edition in editions:
        procedure = edition.procedure(str(example.given.get("procedure", "")))
        for proof in () if procedure is None else procedure.proofs:
            if proof.id == example.given.get("proof"):
                return proof
    return None


def decided_rows(example: Example, proof: Proof, z: float) -> tuple[Decided, ...]:
    """What comes out of each row of values.

    Raises:
        NotDecidableError: values and check do not fit; the message tells what to mend.
    """
    counted, solved = example.given.get("counted"), example.given.get("solved")
    if isinstance(counted, tuple):
        return tuple(
            decide_counted(
                proof,
                CountedTime(low_s=row[0], high_s=row[1], longest_low_s=row[2], longest_high_s=row[3]),
            )
            for row in counted
        )
    rows = solved if isinstance(solved, tuple) else ()
    if proof.check == "drive_log":
        raise NotDecidableError("a drive_log takes counted, with low and high in seconds, instead of solved")
    return tuple(decide_solved(proof, row, z) for row in rows)


def _proof_hint(example: Example, editions: tuple[PackEdition, ...]) -> str:
    named = str(example.given.get("procedure", ""))
    procedures = [one for edition in editions for one in edition.procedures]
    for procedure in procedures:
        if procedure.id == named:
            return did_you_mean(str(example.given.get("proof", "")), tuple(p.id for p in procedure.proofs))
    return did_you_mean(named, tuple(procedure.id for procedure in procedures))


def example_facts(example: Example, edition: PackEdition) -> JobFacts:
    """The facts of an example; without a year it is the first model year that the pack covers."""
    given = dict(example.given)
    if "year" not in given and edition.model_years is not None:
        given["year"] = edition.model_years[0]
    return facts_of(given)


def facts_of(given: Mapping[str, object]) -> JobFacts:
    """The facts an example describes; a before-repair scan without codes is there unless it says otherwise.

    A sensor left out of ``fitted`` is unknown, or not fitted with ``fitted_known: true``.
    """
    place = Place(
        code="EX",
        name="example",
        tz="UTC",
        lat=0.0,
        lon=0.0,
        photo_radius_m=0.0,
        offsets=(OffsetFrom(at=_AT, minutes=0),),
    )
    built = given.get("built")
    year = given.get("year")
    return JobFacts(
        job_id="example",
        order_number="example",
        organisation="example",
        refusal_allowed=False,
        place=place,
        opened=_MOMENT,
        vehicle=Vehicle(
            vin=_VIN,
            make=str(given.get("make", "")),
            model=str(given.get("model", "")),
            model_year=year if isinstance(year, int) else _AT.year,
            market="US",
            build_date=built if isinstance(built, date) else None,
        ),
        fitted_ways=_fitted_ways(given),
        operations=tuple(
            OperationDone(id=f"operation-{n}", sha256="", received_at=_AT, operation=name, by="example")
            for n, name in enumerate(_texts(given, "operations"), start=1)
        ),
        closings=(Closing(id="closing", sha256="", received_at=_AT, at=_MOMENT, by="example"),)
        if given.get("operations_closed")
        else (),
        scans=_scans(given),
    )


def _fitted_ways(given: Mapping[str, object]) -> tuple[FittedWay, ...]:
    table = given.get("fitted", {})
    said: Mapping[str, str] = table if isinstance(table, dict) else {}
    rest = "no" if given.get("fitted_known") else "unknown"
    return tuple(
        FittedWay(
            id=f"{sensor}-{way}",
            sha256="",
            received_at=_AT,
            sensor=sensor,
            state=said.get(sensor, rest),
            way=way,
            at=_MOMENT,
        )
        for sensor in SENSORS
        if said.get(sensor, rest) != "unknown"
        for way in _WAYS
    )


def _scans(given: Mapping[str, object]) -> tuple[Scan, ...]:
    if given.get("before_scan") is False:
        return ()
    table = given.get("codes_seen", {})
    seen: Mapping[str, tuple[str, ...]] = table if isinstance(table, dict) else {}
    modules = tuple(
        ScanModule(name=system, system=system, answered=True, codes=tuple(_code(text) for text in codes))
        for system, codes in seen.items()
    )
    return (
        Scan(
            id="scan",
            sha256="",
            received_at=_AT,
            stage="before_repair",
            ended=_MOMENT,
            modules=modules,
        ),
    )


def _code(text: str) -> TroubleCode:
    code, failure = normal_code(text)
    return TroubleCode(code=code, ftb=failure, state="present")


def _texts(mapping: Mapping[str, object], key: str) -> tuple[str, ...]:
    value = mapping.get(key, ())
    return tuple(str(item) for item in value) if isinstance(value, tuple) else ()
