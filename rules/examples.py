"""Running the examples a pack carries: do its triggers still give what its author wrote down?"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Final, Literal

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
from rules.packs.example_text import STATES
from rules.packs.layering import resolve
from rules.packs.model import Example, PackEdition
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

    Examples about one proof (``procedure`` and ``proof`` with values already solved) are not run by this
    version and say so: they never count as ok.
    """
    editions = resolve((*beside, edition))
    return tuple(_run(example, editions) for example in edition.examples)


def _run(example: Example, editions: tuple[PackEdition, ...]) -> ExampleResult:
    expected = [key for key in example.expect if key in STATES]
    if len(expected) < len(example.expect) or "proof" in example.given:
        message = "this version runs examples about requirements only, not about single proofs"
        return ExampleResult(name=example.name, line=example.line, outcome="not_run", message=message)
    states = {one.procedure_id: one.state for one in determine(editions, facts_of(example.given))}
    wrong = []
    for state in expected:
        for procedure_id in _texts(example.expect, state):
            found = states.get(procedure_id, "called for by no trigger")
            if found != state:
                wrong.append(f"{procedure_id}: expected {state}, found {found}")
    return ExampleResult(
        name=example.name,
        line=example.line,
        outcome="failed" if wrong else "ok",
        message="; ".join(wrong),
    )


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
