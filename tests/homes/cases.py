"""Cases for the homes: both finished jobs, weakened, contradicted, with numbers near their limits."""

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from rules.canonical import instant_text
from rules.facts import ClimateLog, DriveLog, FloorSurvey, JobFacts, Reading, VoltageLog
from rules.reading_back import facts_bytes
from tests.rules.builders import at
from tests.rules.contradictions import CASES
from tests.rules.static_job import static_job
from tests.rules.weakening import WAYS, places, weakened
from tests.rules.windshield_job import windshield_job

ALL = ("common-practice.3", "orrinvale.7", "orrinvale.8")
EDITIONS = (ALL, ALL, ALL, ALL[:2], ALL[:1], ALL[1:])
GATES = ("11:50", "11:50", "11:50", "11:30", "10:45")
MOVED = 200  # for each job


def cases() -> Iterator[dict[str, Any]]:
    """``{"gate_at", "editions", "facts"}``, the same each time; a few hundred for each job."""
    for place, facts in enumerate(_facts()):
        yield {
            "gate_at": instant_text(at(GATES[place % len(GATES)])),
            "editions": EDITIONS[place % len(EDITIONS)],
            "facts": facts_bytes(facts).decode("utf-8"),
        }


def lines() -> str:
    return "".join(json.dumps(case, separators=(",", ":")) + "\n" for case in cases())


def _facts() -> Iterator[JobFacts]:
    dice = random.Random(417)
    for job in (windshield_job(), static_job()):
        yield job
        where = places(job)
        for step, place in enumerate(where[:: max(1, len(where) // 45)]):
            yield weakened(job, place, WAYS[step % len(WAYS)])
        for _ in range(MOVED):
            yield _moved(job, dice)
    for case in CASES:
        yield case.facts()


def _moved(job: JobFacts, dice: random.Random) -> JobFacts:
    """Some of the numbers a little off, so that many come to lie near a limit, on either side."""
    return replace(
        job,
        readings=tuple(_reading(item, dice) for item in job.readings),
        voltage_logs=tuple(_volts(item, dice) for item in job.voltage_logs),
        climate_logs=tuple(_climate(item, dice) for item in job.climate_logs),
        drive_logs=tuple(_drive(item, dice) for item in job.drive_logs),
        floor_surveys=tuple(_floor(item, dice) for item in job.floor_surveys),
    )


def _reading(item: Reading, dice: random.Random) -> Reading:
    kind = dice.random()
    if kind < 0.7 or item.quantity == "odometer":
        return item
    if kind < 0.73:  # a blunder, far beyond every limit
        return replace(item, value=round(item.value * dice.choice((0.4, 0.93, 1.07, 3.0)), 3))
    u = item.u or 0.3
    value = round(item.value + dice.gauss(0.0, 3.0) * u, 3)
    return replace(item, value=value, u=None if item.u is None else item.u * dice.choice((1, 1, 3)))


def _volts(item: VoltageLog, dice: random.Random) -> VoltageLog:
    first, long = dice.randrange(len(item.samples)), dice.randrange(1, 9)
    dip = dice.choice((0.0, 0.0, 1.1, 1.18, 1.25, 3.0, -1.78, -1.9))
    rows = tuple(
        (t, round(v - dip, 3) if first <= place < first + long else v)
        for place, (t, v) in enumerate(item.samples)
    )
    return replace(item, samples=rows)


def _climate(item: ClimateLog, dice: random.Random) -> ClimateLog:
    colder, drier = dice.choice((0.0, 0.0, 3.5, 3.9, 4.5, 14.0)), dice.choice((0.0, 0.0, 2.0, 2.6, 25.0))
    return replace(item, samples=tuple((t, c - colder, rh - drier) for t, c, rh in item.samples))


def _drive(item: DriveLog, dice: random.Random) -> DriveLog:
    """Driven slower along the same way, with fixes lost on the way."""
    slower = dice.choice((1.0, 1.0, 0.98, 0.9, 0.8, 0.6))
    lost, gap = dice.randrange(100, 700), dice.choice((0, 0, 2, 4, 60))
    start = item.fixes[0]
    return replace(
        item,
        fixes=tuple(
            replace(
                fix,
                lat=start.lat + (fix.lat - start.lat) * slower,
                lon=start.lon + (fix.lon - start.lon) * slower,
                speed_kph=None if fix.speed_kph is None else fix.speed_kph * slower,
            )
            for place, fix in enumerate(item.fixes)
            if not lost <= place < lost + gap
        ),
    )


def _floor(item: FloorSurvey, dice: random.Random) -> FloorSurvey:
    steeper = dice.choice((1.0, 1.0, 2.5, 2.82, 3.0))
    return replace(
        item, points=tuple((x, y, round(z * steeper + dice.gauss(0.0, 0.4), 2)) for x, y, z in item.points)
    )
