"""A Corran in front of its camera target, as readings: made to be changed by the tests of target and thrust.

Session 10:40 to 10:52. Uncertainties are those of the invented world's method budgets.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from rules.checks.base import CheckContext, RequiredProcedure
from rules.facts import JobFacts, Moment, Reading, Session
from rules.packs.model import Procedure, Proof
from tests.rules.builders import CORRAN, EASTMARCH, at, moment, reading, session
from tests.rules.measured import edition

STILL = "OV-FC-STILL"
RADAR = "OV-FR-STILL"
TAPE = {"instrument": "TM-014", "u_common": 1.6e-4}
FOUR = (3213.0, 3495.0, 3494.0, 3210.0)
PLACES = ("d_LL", "d_LR", "d_RL", "d_RR", "b_LL", "b_LR", "b_RL", "b_RR")
OWN_U_MM = 0.85


def tape_u(value: float, own: float = OWN_U_MM, scale: float = 1.6e-4) -> float:
    """u of a tape reading: its independent part and the tape's scale."""
    return float((own * own + scale * scale * value * value) ** 0.5)


def distances(
    values: Iterable[float | None] = FOUR, when: str = "10:20", set_no: int = 1, **fields: Any
) -> tuple[Reading, ...]:
    """Readings d_LL, d_LR, d_RL, d_RR and then b_LL ...; None leaves one out."""
    own = fields.pop("own_u", OWN_U_MM)
    return tuple(
        reading(
            f"{place}-{when}-{set_no}-{fields.get('procedure_id') or ''}", "target_distance", place, value,
            "mm", when, **{"u": tape_u(value, own), **TAPE, "set_no": set_no, **fields},
        )
        for place, value in zip(PLACES, values, strict=False)
        if value is not None
    )  # fmt: skip


def lengths(when: str = "10:15", rear: bool = False, **fields: Any) -> tuple[Reading, ...]:
    """Distance of the front marks, the bar, and the rear marks where asked for."""
    found = [
        reading("front", "datum_separation_front", "", 1580.0, "mm", when, u=0.887, **{**TAPE, **fields}),
        reading("bar", "bar_length", "", 1200.0, "mm", when, u=0.1, instrument="TS-003", **fields),
    ]
    if rear:
        found.append(
            reading("rear", "datum_separation_rear", "", 1584.0, "mm", when, u=0.888, **{**TAPE, **fields})
        )
    return tuple(found)


def others(
    height: float = 1347.0, floor: float | None = -1.21, tilt: float | None = 0.1, when: str = "10:25",
    **fields: Any,
) -> tuple[Reading, ...]:  # fmt: skip
    """Height by tape, the floor at the stand against the wheels' plane, tilt of the bar."""
    found = [reading("height", "target_height", "", height, "mm", when, u=1.06, **{**TAPE, **fields})]
    if floor is not None:
        level = {"u": 0.5, "instrument": "FL-001"}
        found.append(reading("floor", "stand_floor_z", "", floor, "mm", when, **{**level, **fields}))
    if tilt is not None:
        gauge = {"u": 0.05, "instrument": "AG-005"}
        found.append(reading("tilt", "bar_tilt", "", tilt, "deg", when, **{**gauge, **fields}))
    return tuple(found)


def toe(left: float = 0.20, right: float = 0.05, when: str = "09:00", **fields: Any) -> tuple[Reading, ...]:
    rack: dict[str, Any] = {"u": 0.010, "instrument": "AR-002", **fields}
    return (
        reading("toe-left", "rear_toe_left", "", left, "deg", when, **rack),
        reading("toe-right", "rear_toe_right", "", right, "deg", when, **rack),
    )


def set_up(**parts: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """All readings of the set-up; ``four``, ``sizes``, ``rest`` and ``axle`` replace a part."""
    whole = {"four": distances(), "sizes": lengths(), "rest": others(), "axle": toe(), **parts}
    return tuple(item for part in whole.values() for item in part)


def camera_session(start: str = "10:40", end: str | None = "10:52", id_: str = "s-1") -> Session:
    return session(id_, STILL, start, end)


def job(readings: Iterable[Reading] | None = None, **fields: Any) -> JobFacts:
    """A Corran at Eastmarch, opened at 08:00, with these readings and one camera session."""
    base: dict[str, Any] = {
        "job_id": "job-1",
        "order_number": "EM-2026-0417",
        "organisation": "Brackwater Repair Group",
        "refusal_allowed": True,
        "place": EASTMARCH,
        "opened": moment("08:00"),
        "vehicle": CORRAN,
        "readings": set_up() if readings is None else tuple(readings),
        "sessions": (camera_session(),),
    }
    return JobFacts(**{**base, **fields})


def procedure_of(procedure_id: str) -> Procedure:
    found = edition("orrinvale", 7).procedure(procedure_id)
    assert found is not None
    return found


def context(
    facts: JobFacts | None = None, procedure_id: str = STILL, proof_id: str = "target", **fields: Any
) -> CheckContext:
    """The context of one proof of a maker's procedure; ``arguments`` replaces some of the proof's own.

    ``also``: further required procedures, with their last session.
    """
    facts = job() if facts is None else facts
    arguments: Mapping[str, Any] = fields.pop("arguments", {})
    dropped: tuple[str, ...] = fields.pop("without", ())
    changed: Mapping[str, Any] = fields.pop("proof", {})
    required = {
        name: RequiredProcedure(
            procedure=procedure_of(name),
            edition=edition("orrinvale", 7),
            sensors=(),
            session=_last(facts, name),
        )
        for name in (procedure_id, *fields.pop("also", ()))
    }
    current = required[procedure_id]
    proof = next(item for item in current.procedure.proofs if item.id == proof_id)
    kept = {name: value for name, value in proof.arguments.items() if name not in dropped}
    proof = replace(proof, arguments={**kept, **arguments}, **changed)
    base: dict[str, Any] = {
        "facts": facts,
        "gate_at": at("12:00"),
        "proof": proof,
        "current": current,
        "required": required,
        "z": 1.645,
        "outcomes": {},
    }
    return CheckContext(**{**base, **fields})


def _last(facts: JobFacts, procedure_id: str) -> Session | None:
    found = [item for item in facts.sessions if item.procedure_id == procedure_id]
    return found[-1] if found else None


def proof_of(procedure_id: str, proof_id: str) -> Proof:
    return next(item for item in procedure_of(procedure_id).proofs if item.id == proof_id)


def vague(item: Reading, minutes: float) -> Reading:
    """The same reading by a clock that is known to so many minutes only."""
    low, high = item.at.low.timestamp() - 60 * minutes, item.at.high.timestamp() + 60 * minutes
    zone = item.at.low.tzinfo
    taken = Moment(
        low=item.at.low.fromtimestamp(low, tz=zone),
        high=item.at.high.fromtimestamp(high, tz=zone),
        reading=item.at.reading,
        clock="device:tablet",
    )
    return replace(item, at=taken)
