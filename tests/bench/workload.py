"""The workload of the timings: packs of many rules in our language, jobs, and what must come out, by hand.

A rule is a trigger (sensor fitted, one of three operations, model years) with a procedure of six proofs:
three values, trouble codes, a statement, the device's result. The expected verdicts come from the generator's
own arithmetic, not from the judgement. All makes, sensors' values and jobs are invented.
"""

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from rules.facts import (
    Closing,
    FittedWay,
    JobFacts,
    Moment,
    OffsetFrom,
    OperationDone,
    Place,
    Reading,
    Scan,
    ScanModule,
    Session,
    Statement,
    TroubleCode,
    Vehicle,
)
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack

RULES_PER_MAKE = 20
SENSORS = (
    "forward_camera", "front_radar", "front_corner_radar", "rear_corner_radar", "surround_cameras",
    "rear_camera", "parking_sensors", "lidar",
)  # fmt: skip
OPERATIONS = (
    "glass.windshield.replaced", "mirror.inside.disturbed", "camera.forward.unplugged", "roof.replaced",
    "bumper.front.refitted", "bumper.front.replaced", "grille.front.refitted", "emblem.front.replaced",
    "radar.front.unplugged", "radar.front.replaced", "bumper.rear.refitted", "bumper.rear.replaced",
    "quarter.left.repaired", "quarter.right.repaired", "radar.rear_corner.unplugged", "tailgate.replaced",
    "tailgate.refitted", "camera.rear.replaced", "mirror.left.replaced", "mirror.right.replaced",
    "camera.surround.replaced", "parking.sensor.replaced", "structure.front.pulled", "wheel.size.changed",
)  # fmt: skip
# (quantity, place, unit, middle, spread, standard uncertainty, name for the peers)
MEASURED = tuple(
    (quantity, place, unit, middle, spread, u, f"{quantity}_{place}")
    for quantity, unit, middle, spread, u, places in (
        ("arch_height", "mm", 700.0, 12.0, 0.8, ("front_left", "front_right", "rear_left", "rear_right")),
        ("radar_face_angle", "deg", 0.0, 0.8, 0.05, ("vertical", "horizontal")),
        ("bracket_angle", "deg", 0.0, 0.8, 0.05, ("left", "right")),
        ("light_level", "lx", 700.0, 150.0, 20.0, ("front", "rear")),
    )
    for place in places
)
SAID = (
    "cargo_empty",
    "no_roof_load",
    "fuel_at_least_half",
    "doors_closed",
    "nobody_inside",
    "clear_zone_marked",
)
Z = 1.645
DAY = datetime(2026, 5, 5, 13, tzinfo=UTC)
GATE = DAY + timedelta(hours=9)
SHOP = Place(
    code="EM", name="Eastmarch", tz="America/Chicago", lat=43.1, lon=-98.2, photo_radius_m=250.0,
    offsets=(OffsetFrom(at=datetime(2026, 3, 8, 8, tzinfo=UTC), minutes=-300),),
)  # fmt: skip

Limits = tuple[int, float, float]
Verdicts = dict[str, tuple[bool, ...]]


@dataclass(frozen=True)
class Rule:
    """``limits``: (place among MEASURED, lower, upper), three of them."""

    id: str
    make: str
    sensor: str
    operations: tuple[str, ...]
    years: tuple[int, int]
    limits: tuple[Limits, ...]
    says: str


@dataclass(frozen=True)
class Job:
    """``flat``: about 250 leaves, worked out for the peers; ``expected``: met or not, proof by proof."""

    facts: JobFacts
    flat: dict[str, Any]
    expected: Verdicts


def make_name(number: int) -> str:
    return f"Make{number:03}"


def rules(makes: int, seed: int = 1) -> list[Rule]:
    """``RULES_PER_MAKE`` rules for each make; the first makes are the same whatever ``makes`` is."""
    found = []
    for number in range(makes):
        draw = random.Random(seed * 1000 + number)
        for place in range(RULES_PER_MAKE):
            first = draw.randint(2015, 2022)
            found.append(
                Rule(
                    id=f"R{number:03}-{place:02}",
                    make=make_name(number),
                    sensor=SENSORS[place % len(SENSORS)],
                    operations=tuple(draw.sample(OPERATIONS, 3)),
                    years=(first, first + draw.randint(5, 9)),
                    limits=tuple(_limit(draw, which) for which in draw.sample(range(len(MEASURED)), 3)),
                    says=draw.choice(SAID),
                )
            )
    return found


def _limit(draw: random.Random, which: int) -> Limits:
    _, _, _, middle, spread, _, _ = MEASURED[which]
    half = round(spread * draw.uniform(0.3, 0.8), 2)
    return which, round(middle - half, 2), round(middle + half, 2)


def pack_set(chosen: list[Rule]) -> PackSet:
    """One pack for each make, read from its text as any pack is."""
    makes: dict[str, list[Rule]] = {}
    for rule in chosen:
        makes.setdefault(rule.make, []).append(rule)
    return PackSet(editions=tuple(_edition(make, group) for make, group in makes.items()))


def _edition(make: str, group: list[Rule]) -> PackEdition:
    lines = [
        f"pack: {make.lower()}", "edition: 1", f'title: "{make} vehicles"', 'in_force: {from: "2026-01-01"}',
        f"covers: {{makes: [{make}], model_years: [2015, 2031]}}",
        'written_by: {name: "Perla Vantongeren", role: operations_manager, dated: "2025-12-20"}',
        'approved_by: {name: "Dagny Pell", role: quality_reviewer, dated: "2025-12-25"}',
        "sources:",
        '  - {id: S, kind: maker_service_information, title: "Aiming", document: "SI-1", edition: "2026-01", '
        'retrieved: "2025-12-18", retrieved_by: "Dagny Pell"}',
        f"decision: {{z: {Z}}}", "triggers:",
    ]  # fmt: skip
    for rule in group:
        years, names = list(rule.years), ", ".join(rule.operations)
        lines += [
            f"  - id: T-{rule.id}", f'    plain: "Work near the {rule.sensor}"', "    when:", "      all:",
            f"        - fitted: {rule.sensor}", f"        - operation: [{names}]", f"        - year: {years}",
            f"    calls_for: {rule.id}", '    cite: {source: S, section: "1"}',
        ]  # fmt: skip
    lines.append("procedures:")
    for rule in group:
        lines += [
            f"  - id: {rule.id}", f'    title: "Aim the {rule.sensor}"', "    kind: static",
            '    cite: {source: S, section: "2"}', "    proofs:", *map(_proof_line, range(3), rule.limits),
            f"      - {{id: codes, check: no_codes, module: {rule.sensor}, "
            "stage: before_calibration, waivable: no}",
            f"      - {{id: said, check: statement, says: [{rule.says}], waivable: no}}",
            "      - {id: result, check: tool_result, says: completed, waivable: no}",
        ]  # fmt: skip
    return read_pack("\n".join(lines).encode(), name=make)


def _proof_line(number: int, limit: Limits) -> str:
    which, lower, upper = limit
    quantity, place, unit, *_ = MEASURED[which]
    return (
        f"      - {{id: value_{number}, check: value, of: {quantity}, place: {place}, "
        f'limit: "between {lower} {unit} and {upper} {unit}", waivable: no}}'
    )


# ------------------------------------------------------------------ jobs


def jobs(count: int, by_make: dict[str, list[Rule]], seed: int = 7) -> list[Job]:
    """Jobs on vehicles of the first twenty makes."""
    draw = random.Random(seed)
    makes = sorted(by_make)[:20]
    return [_job(draw, number, by_make[draw.choice(makes)]) for number in range(count)]


def _base(id_: str, at: datetime) -> dict[str, Any]:
    return {"id": id_, "sha256": id_.rjust(64, "0"), "received_at": at}


def _job(draw: random.Random, number: int, own_rules: list[Rule]) -> Job:
    year = draw.randint(2016, 2028)
    fitted = {sensor: draw.random() < 0.75 for sensor in SENSORS}
    done = draw.sample(OPERATIONS, 3)
    values = [round(draw.gauss(row[3], row[4] * 0.4), 2) for row in MEASURED]
    codes = {sensor: draw.random() < 0.35 for sensor in SENSORS}
    said = [word for word in SAID if draw.random() < 0.65]
    applying = [
        rule
        for rule in own_rules
        if fitted[rule.sensor] and set(rule.operations) & set(done) and rule.years[0] <= year <= rule.years[1]
    ]
    results = {rule.id: draw.random() < 0.7 for rule in applying}
    drawn = {
        "number": number, "make": own_rules[0].make, "year": year, "fitted": fitted, "done": done,
        "values": values, "codes": codes, "said": said, "results": results,
    }  # fmt: skip
    expected = {rule.id: _expected(rule, drawn) for rule in applying}
    return Job(facts=_facts(drawn), flat=_flat(drawn), expected=expected)


def _expected(rule: Rule, drawn: dict[str, Any]) -> tuple[bool, ...]:
    inside = []
    for which, lower, upper in rule.limits:
        guard = Z * MEASURED[which][5]
        value = drawn["values"][which]
        inside.append(round(lower + guard, 6) <= value <= round(upper - guard, 6))
    return (*inside, not drawn["codes"][rule.sensor], rule.says in drawn["said"], drawn["results"][rule.id])


def _facts(drawn: dict[str, Any]) -> JobFacts:
    begin = DAY + timedelta(hours=4)
    early, taken = Moment.exact(DAY), Moment.exact(DAY + timedelta(hours=2))
    start, end = Moment.exact(begin), Moment.exact(begin + timedelta(minutes=20))
    return JobFacts(
        job_id=f"job-{drawn['number']}",
        order_number=f"EM-2026-{drawn['number']:05}",
        organisation="Brackwater Repair Group",
        refusal_allowed=True,
        place=SHOP,
        opened=early,
        vehicle=Vehicle(
            vin="Z0ACR4H24T1004217", make=drawn["make"], model="Corran", model_year=drawn["year"], market="US"
        ),
        fitted_ways=tuple(
            FittedWay(
                **_base(f"way-{sensor}-{how}", DAY),
                sensor=sensor,
                state="yes" if has else "no",
                way=how,
                at=early,
            )
            for sensor, has in drawn["fitted"].items()
            for how in ("build_data", "sight")
        ),
        operations=tuple(
            OperationDone(
                **_base(f"op-{name}", DAY), operation=name, by="itolvaar", started=early, done=early
            )
            for name in drawn["done"]
        ),
        closings=(Closing(**_base("closing", taken.low), at=taken, by="itolvaar"),),
        readings=tuple(
            Reading(
                **_base(f"reading-{name}", taken.low), quantity=quantity, place=place, value=value, unit=unit,
                typed_value=f"{value:g}", typed_unit=unit, at=taken, by="itolvaar", u=u, u_from="method",
                instrument="RL-011",
            )
            for (quantity, place, unit, _, _, u, name), value in zip(MEASURED, drawn["values"], strict=True)
        ),
        statements=(
            Statement(
                **_base("statement", taken.low), says=tuple(drawn["said"]), at=taken, by="itolvaar",
                text_version="3",
            ),
        ),
        sessions=tuple(
            Session(
                **_base(f"session-{name}", end.low), procedure_id=name, attempt=1, performed_by="itolvaar",
                started=start, ended=end, result="completed" if ok else "failed", place=SHOP, bay="EM-B2",
            )
            for name, ok in drawn["results"].items()
        ),
        scans=(
            Scan(
                **_base("scan", taken.low), stage="before_calibration", ended=taken, device="SD-011",
                device_software="5.2", supply_voltage_v=13.1,
                vin_per_module=tuple((sensor, "Z0ACR4H24T1004217") for sensor in SENSORS),
                modules=tuple(
                    ScanModule(
                        name=sensor, system=sensor, answered=True,
                        codes=(TroubleCode(code="C1A45", ftb="54", state="present"),) if shown else (),
                    )
                    for sensor, shown in drawn["codes"].items()
                ),
            ),
        ),
    )  # fmt: skip


def _flat(drawn: dict[str, Any]) -> dict[str, Any]:
    """What the peers are handed: the guard already taken off, evidence counted, everything by name."""
    measured = {}
    for (quantity, place, unit, _, _, u, name), value in zip(MEASURED, drawn["values"], strict=True):
        measured[name] = {
            "low": round(value - Z * u, 6), "high": round(value + Z * u, 6), "value": value, "u": u,
            "unit": unit,
            "quantity": quantity, "place": place, "instrument": "RL-011", "by": "itolvaar",
            "at": "2026-05-05T15:00:00Z", "session": None, "set": 1,
        }  # fmt: skip
    return {
        "job": f"job-{drawn['number']}", "order": f"EM-2026-{drawn['number']:05}", "make": drawn["make"],
        "model": "Corran", "year": drawn["year"], "market": "US", "vin": "Z0ACR4H24T1004217",
        "fitted": [sensor for sensor, has in drawn["fitted"].items() if has],
        "operations": list(drawn["done"]), "closed": True, "measured": measured,
        "said": list(drawn["said"]), "codes": [sensor for sensor, shown in drawn["codes"].items() if shown],
        "completed": [name for name, ok in drawn["results"].items() if ok],
        "modules": [
            {"name": s, "system": s, "answered": True, "address": None, "software": "5.2", "count": int(c),
             "text": "supply and aim in order"}
            for s, c in drawn["codes"].items()
        ],
        "place": {"code": "EM", "name": "Eastmarch", "lat": 43.1, "lon": -98.2, "radius": 250.0,
                  "minutes": -300},
        "ways": [
            {"sensor": s, "state": "yes" if has else "no", "by": "build data and sight"}
            for s, has in drawn["fitted"].items()
        ],
    }  # fmt: skip


def by_make(chosen: list[Rule]) -> dict[str, list[Rule]]:
    found: dict[str, list[Rule]] = {}
    for rule in chosen:
        found.setdefault(rule.make, []).append(rule)
    return found


def leaves(value: Any) -> int:
    """How many values a document holds."""
    if isinstance(value, dict):
        return sum(map(leaves, value.values()))
    if isinstance(value, list):
        return sum(map(leaves, value))
    return 1
