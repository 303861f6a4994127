"""Records that speak against a finished job, each with the proof it opens and the reasons it must give."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date

from rules.facts import (
    Batch,
    JobFacts,
    KeyEvent,
    Reuse,
    StateChange,
    SubletTrip,
    TextLookup,
    TroubleCode,
)
from tests.rules.builders import (
    SEDGE,
    held,
    lamps,
    module,
    moment,
    photo,
    scan,
    session,
    statement,
)
from tests.rules.weakening import Place, changed, signed, signed_with
from tests.rules.windshield_job import MODULES, ROAD, odometer, unsigned_job

UNLIT = {"driver_assistance": "unlit", "airbag": "unlit", "brake": "unlit", "steering": "unlit"}
PRESENT = TroubleCode(code="C0031", ftb="23", state="present")


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """``against``: the records that speak against the job, in which it must not be weakened."""

    name: str
    facts: Callable[[], JobFacts]
    against: tuple[Place, ...]
    proof: tuple[str, str]
    verdict: str
    reasons: tuple[str, ...]


def _lookup(edition: str, when: str) -> TextLookup:
    first = unsigned_job().lookups[0]
    return replace(first, **held("lookup-2", when), retrieved_at=moment(when), edition=edition)


def _with_code(*systems: str) -> tuple[object, ...]:
    return tuple(
        module(item.name, item.system, PRESENT) if item.system in systems else item for item in MODULES
    )


def _scans(**by_stage: tuple[object, ...]) -> JobFacts:
    times = {"before_repair": "08:06", "before_calibration": "10:20", "final": "11:05"}
    ids = {"before_repair": "scan-before", "before_calibration": "scan-aiming", "final": "scan-final"}
    scans = tuple(
        scan(ids[stage], stage, when, by_stage.get(stage, MODULES), SEDGE.vin)  # type: ignore[arg-type]
        for stage, when in times.items()
    )
    return signed(replace(unsigned_job(), scans=scans))


def _photographed_lamps() -> JobFacts:
    job = changed(unsigned_job(), ("lamp_records", "lamps-delivery"), evidence=("photo-lamps",))
    reused = Reuse(other_evidence="elsewhere", distance=0, same_job=False, same_bytes=True)
    return signed_with(job, photos=(photo("photo-lamps", ("lamps",), "11:10", reuse=(reused,)),))


def _expired() -> JobFacts:
    old = Batch(product="Tarvek U-60", batch="7731", expires_on=date(2026, 5, 4))
    return signed(changed(unsigned_job(), ("glass_sets", "glass"), adhesive=old))


def _key_off() -> JobFacts:
    events = (("10:28", "on"), ("10:40", "off"), ("10:41", "on"), ("10:54", "off"))
    made = tuple(KeyEvent(at=moment(when), state=state) for when, state in events)  # type: ignore[arg-type]
    return signed(changed(unsigned_job(), ("sessions", "session-1"), key_events=made))


def _failed_again() -> JobFacts:
    again = session(
        "session-2", "OV-FC-ROAD", "10:55", "10:58", bay=None, attempt=2, result="failed", key_events=()
    )
    return signed_with(unsigned_job(), sessions=(again,))


def _moved_early() -> JobFacts:
    early = StateChange(
        **held("moved", "09:00"), kind="vehicle_moved", at=moment("09:00"), by="mondry", on_road=True
    )
    return signed_with(unsigned_job(), state_changes=(early,))


def _driven_away() -> JobFacts:
    trip = SubletTrip(
        **held("trip", "09:00"),
        procedure_ids=("X",),
        to_org="Sallowfield",
        carried_how="driven",
        out_at=moment("09:00"),
        back_at=moment("09:20"),
    )
    return signed_with(unsigned_job(), sublet_trips=(trip,))


CASES = (
    Case(
        name="a later record shows the brake lamp lit",
        facts=lambda: signed_with(
            unsigned_job(), lamp_records=(lamps("against", "11:15", **{**UNLIT, "brake": "lit"}),)
        ),
        against=(("lamp_records", "against"),),
        proof=("CP-EVERY", "lamps"),
        verdict="not_met",
        reasons=("lamp_wrong",),
    ),
    Case(
        name="the lane symbol is an outline again",
        facts=lambda: signed_with(
            unsigned_job(), lamp_records=(lamps("against", "10:54", lane_symbol="outline_only"),)
        ),
        against=(("lamp_records", "against"),),
        proof=("OV-FC-ROAD", "lane"),
        verdict="not_met",
        reasons=("lamp_wrong",),
    ),
    Case(
        name="the text of another edition was looked up last",
        facts=lambda: signed_with(unsigned_job(), lookups=(_lookup("2025-01", "10:00"),)),
        against=(("lookups", "lookup-2"),),
        proof=("OV-FC-ROAD", "text_current"),
        verdict="not_shown",
        reasons=("conflict",),
    ),
    Case(
        name="the odometer stood higher just before the drive",
        facts=lambda: signed_with(unsigned_job(), readings=(odometer("against", 21012.0, "10:25"),)),
        against=(("readings", "against"),),
        proof=("OV-FC-ROAD", "odo"),
        verdict="not_met",
        reasons=("log_conflict",),
    ),
    Case(
        name="the last scan before the repair came after work began",
        facts=lambda: signed_with(
            unsigned_job(), scans=(scan("against", "before_repair", "09:00", MODULES, SEDGE.vin),)
        ),
        against=(("scans", "against"),),
        proof=("CP-EVERY", "order"),
        verdict="not_met",
        reasons=("order_broken",),
    ),
    Case(
        name="a new code in the brakes",
        facts=lambda: _scans(final=_with_code("brake")),
        against=(("scans", "scan-final"), ("scans", "scan-before")),
        proof=("CP-EVERY", "codes"),
        verdict="not_met",
        reasons=("code_new",),
    ),
    Case(
        name="a code of the steering, which the camera depends on, remains",
        facts=lambda: _scans(before_repair=_with_code("steering"), final=_with_code("steering")),
        against=(("scans", "scan-final"), ("scans", "scan-before")),
        proof=("CP-EVERY", "codes"),
        verdict="not_met",
        reasons=("code_remaining",),
    ),
    Case(
        name="the road statement denies dry road",
        facts=lambda: signed_with(
            unsigned_job(),
            statements=(statement("against", (), "10:54", denies=ROAD[1:2], sessions=("session-1",)),),
        ),
        against=(("statements", "against"),),
        proof=("OV-FC-ROAD", "road"),
        verdict="not_met",
        reasons=("says_otherwise",),
    ),
    Case(
        name="the picture of the lamps is of another job",
        facts=_photographed_lamps,
        against=(("photos", "photo-lamps"), ("lamp_records", "lamps-delivery")),
        proof=("CP-EVERY", "lamps"),
        verdict="not_met",
        reasons=("reuse_exact",),
    ),
    Case(
        name="the adhesive had expired",
        facts=_expired,
        against=(("glass_sets", "glass"),),
        proof=("CP-BOND", "batch"),
        verdict="not_met",
        reasons=("adhesive_expired",),
    ),
    Case(
        name="the key was off during the session",
        facts=_key_off,
        against=(("sessions", "session-1"),),
        proof=("OV-FC-ROAD", "key"),
        verdict="not_met",
        reasons=("ignition_cycled",),
    ),
    Case(
        name="a later attempt failed",
        facts=_failed_again,
        against=(("sessions", "session-2"),),
        proof=("OV-FC-ROAD", "done"),
        verdict="not_met",
        reasons=("session_failed",),
    ),
    Case(
        name="the car was on the road before the adhesive was ready",
        facts=_moved_early,
        against=(("state_changes", "moved"), ("glass_sets", "glass")),
        proof=("CP-BOND", "ready"),
        verdict="not_met",
        reasons=("adhesive_early",),
    ),
    Case(
        name="the car was driven to another shop before the adhesive was ready",
        facts=_driven_away,
        against=(("sublet_trips", "trip"), ("glass_sets", "glass")),
        proof=("CP-BOND", "ready"),
        verdict="not_met",
        reasons=("adhesive_early",),
    ),
)
