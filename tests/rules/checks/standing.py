"""A Corran in bay EM-B2 with sessions standing still, for tests of the checks on what was measured there."""

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from rules.checks.base import CheckContext, RequiredProcedure
from rules.facts import FloorSurvey, Reading, Session
from rules.verdict import Outcome
from tests.rules.builders import CORRAN, at, held, moment, reading, session
from tests.rules.measured import Z, edition, numbers, said
from tests.rules.windshield_job import windshield_job

__all__ = [
    "GRID",
    "JOB",
    "Z",
    "context",
    "edge_cases",
    "floor",
    "numbers",
    "outcome",
    "read",
    "replace_readings",
    "said",
    "sitting",
    "tilted",
]

STARTS = "10:30"
ENDS = "10:52"
SENSORS = {
    "OV-FC-STILL": ("forward_camera",),
    "OV-FR-STILL": ("front_radar",),
    "OV-RC-STILL": ("rear_corner_radar",),
    "OV-SV-STILL": ("surround_cameras",),
    "OV-PK": ("parking_sensors",),
    "OV-SAS": ("steering_angle_sensor",),
}
JOB = replace(windshield_job(), vehicle=CORRAN, sessions=(), readings=(), drive_logs=())


def sitting(procedure_id: str, start: str = STARTS, end: str = ENDS, **fields: Any) -> Session:
    return session(f"session-{procedure_id}", procedure_id, start, end, **fields)


def read(
    quantity: str, place: str, value: float, unit: str, u: float | None, when: str = "09:30", **fields: Any
) -> Reading:
    """A reading with an instrument, if it is not given as shown by the vehicle or as without one."""
    base: dict[str, Any] = {"u": u, "instrument": "X-001"}
    return reading(
        f"{quantity}-{place}-{when}-{fields.get('set_no', 1)}", quantity, place, value, unit, when,
        **{**base, **fields},
    )  # fmt: skip


def context(
    procedure_id: str,
    proof_id: str,
    *readings: Reading,
    also: Iterable[str] = (),
    **facts: Any,
) -> CheckContext:
    """The context of one proof of the maker's text; ``also``: other procedures that are required."""
    arguments = facts.pop("arguments", {})
    sessions = facts.pop("sessions", (sitting(procedure_id),))
    job = replace(JOB, **{"readings": readings, "sessions": sessions, **facts})
    book = edition("orrinvale", 7)
    required: dict[str, RequiredProcedure] = {}
    for name in (procedure_id, *also):
        found = book.procedure(name)
        assert found is not None
        own = [item for item in sessions if item.procedure_id == name]
        required[name] = RequiredProcedure(
            procedure=found, edition=book, sensors=SENSORS[name], session=own[-1] if own else None
        )
    current = required[procedure_id]
    proof = next(item for item in current.procedure.proofs if item.id == proof_id)
    return CheckContext(
        facts=job,
        gate_at=at("23:00"),
        proof=replace(proof, arguments={**proof.arguments, **arguments}),
        current=current,
        required=required,
        z=Z,
        outcomes={},
    )


def outcome(
    check: Callable[[CheckContext], Outcome], where: str, *readings: Reading, **facts: Any
) -> Outcome:
    """The outcome of ``check`` on the proof ``where`` ("OV-FC-STILL/height") with these readings."""
    procedure_id, proof_id = where.split("/")
    return check(context(procedure_id, proof_id, *readings, **facts))


def replace_readings(readings: Iterable[Reading], place: str, **fields: Any) -> list[Reading]:
    """The same readings with fields of those at one place changed."""
    return [replace(item, **fields) if item.place == place else item for item in readings]


def edge_cases(lower: float | None, upper: float | None, u: float) -> list[tuple[float, str]]:
    """Values on and just beyond every guarded edge of a limit, with the verdict each must have."""
    guard, step = round(Z * u, 6), 2e-6
    cases: list[tuple[float, str]] = []
    if upper is not None:
        cases += [
            (upper - guard - step, "met"),
            (upper - guard + step, "not_shown"),
            (upper, "not_shown"),
            (upper + guard - step, "not_shown"),
            (upper + guard + step, "not_met"),
        ]
    if lower is not None:
        cases += [
            (lower + guard + step, "met"),
            (lower + guard - step, "not_shown"),
            (lower, "not_shown"),
            (lower - guard + step, "not_shown"),
            (lower - guard - step, "not_met"),
        ]
    return cases


XS = (-2.8, -1.4, 0.0, 1.4, 2.8, 4.2)
YS = (-1.2, 0.0, 1.2)
HEIGHTS = (
    (0.0, 0.6, 1.4),
    (4.1, 5.2, 5.6),
    (8.9, 9.4, 10.8),
    (12.6, 13.9, 14.2),
    (17.3, 17.6, 18.9),
    (20.4, 22.3, 22.4),
)
GRID = tuple(
    (1000 * x, 1000 * y, z) for x, row in zip(XS, HEIGHTS, strict=True) for y, z in zip(YS, row, strict=True)
)


def floor(when: str = "2026-02-16 09:00", **fields: Any) -> FloorSurvey:
    """The worked survey of bay EM-B2."""
    base: dict[str, Any] = {
        "bay": "EM-B2",
        "surveyed": moment(when),
        "points": GRID,
        "u_z": 0.3,
        "instrument": "FL-001",
        "valid_months": 12,
    }
    return FloorSurvey(**{**held(f"floor-{when}", when), **base, **fields})


def tilted(slope_deg: float, trough_mm: float = 0.0) -> tuple[tuple[float, float, float], ...]:
    """A plane that rises with x by an angle, with a trough along its middle that is exactly as deep as told.

    The trough lies square to the plane's own terms, so that it leaves the fitted slope as it is.
    """
    rise = math.tan(math.radians(slope_deg))
    return tuple(
        (1000 * x, 1000 * y, 1000 * x * rise + (-2.0 if y == 0.0 else 1.0) * trough_mm / 3.0)
        for x in XS
        for y in YS
    )
