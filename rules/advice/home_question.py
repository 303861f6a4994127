"""What a record and a person's entries give for the question whether the car can go home today."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from typing import Final

from rules.advice.home import Dated, Drive, HomeQuestion, Ready
from rules.checks.adhesive import ready_times
from rules.checks.curing import governing_settings
from rules.checks.drive import needs_of
from rules.editions import editions_at
from rules.explain import plain_name
from rules.facts import ClimateLog, Equipment, JobFacts, Moment, Place
from rules.gate import open_findings
from rules.packs.layering import decision_factor
from rules.packs.model import PackEdition, PackSet, Proof
from rules.result import Assessment
from rules.science.instruments import Use, status_of
from rules.science.log_time import bounds_in_log
from rules.verdict import Finding

# Trip time over counted time where a shop has no drive of its own on record (project default).
DEFAULT_RATIO: Final = 1.5
DEFAULT_Z: Final = 1.645
# A check before use can still be made; these cannot be made good in a day.
_OUT_OF_DATE: Final = ("instrument_overdue", "instrument_suspended", "instrument_no_certificate", "undecided")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """What a person entered; None where nothing was. Forecast minima: degC and percent."""

    way_s: float | None = None
    work_s: float = 0.0
    bay_free_at: datetime | None = None
    shift_until: datetime | None = None
    forecast_temp: float | None = None
    forecast_rh: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnDrives:
    """The shop's own drives: the middle ratio of trip time to counted time, of so many drives."""

    ratio: float | None = None
    drives: int = 0


def home_question(
    packs: PackSet, facts: JobFacts, assessment: Assessment, now: datetime, entered: Entered, own: OwnDrives
) -> HomeQuestion:
    """The question as asked at ``now``: ``facts`` held then, ``assessment`` the last judgement of the job."""
    opened = open_findings(assessment.findings)
    editions = (*editions_at(packs, facts, now), *packs.editions)
    return HomeQuestion(
        now=now,
        place=facts.place,
        ready=_ready(packs, facts, entered, (now, opened)),
        drives=tuple(_drives(editions, opened)),
        ratio=DEFAULT_RATIO if own.ratio is None else own.ratio,
        ratio_source=_ratio_source(own),
        way_s=entered.way_s,
        bay_free_at=entered.bay_free_at,
        shift_until=entered.shift_until,
        work_s=entered.work_s,
        instruments=tuple(_dated(facts.place, item, now) for item in facts.equipment),
        past=tuple(f"{_name(item)}" for item in opened if _is_past(item)),
        unknown=(*_unknown(facts, assessment), *_drives_unknown(editions, opened)),
    )


def _name(item: Finding) -> str:
    return f"{item.title}, {plain_name(item.proof_id)}"


def _is_past(item: Finding) -> bool:
    """Cannot be repaired, and nobody may waive it."""
    return item.outcome.settle == "never" and not item.waivable


def _unknown(facts: JobFacts, assessment: Assessment) -> tuple[str, ...]:
    if facts.delivery is not None:
        return ("The car has left already.",)
    return tuple(item.sentence for item in assessment.requirements if item.state == "cannot_tell")


def _ratio_source(own: OwnDrives) -> str:
    if own.ratio is None:
        return "no drive of this shop on record, project default"
    return f"middle of the shop's own last {own.drives} drives"


# ------------------------------------------------------------------ adhesive


def _ready(
    packs: PackSet, facts: JobFacts, entered: Entered, at: tuple[datetime, tuple[Finding, ...]]
) -> Ready | None:
    """By the readings so far and the forecast minima; None where no proof about adhesive is open."""
    now, opened = at
    if not any(item.check == "adhesive_ready" for item in opened):
        return None
    editions = editions_at(packs, facts, now)
    z = decision_factor(editions) if editions else DEFAULT_Z
    found = ready_times(with_forecast(facts, now, entered), now, z)
    source = "data sheet and climate log"
    if entered.forecast_temp is not None or entered.forecast_rh is not None:
        source += ", forecast entered by hand"
    if found is None:
        return Ready(at=None, words="The setting of the glass is not on record.", source=source)
    return Ready(at=found.ready_cautious, words=found.sentence, source=source)


def with_forecast(facts: JobFacts, now: datetime, entered: Entered) -> JobFacts:
    """The facts with one more climate reading at ``now``: the forecast minima, where they were entered.

    The coldest and driest still to come is taken as if it came at once, so that the answer is never early.
    """
    if entered.forecast_temp is None and entered.forecast_rh is None:
        return facts
    used = {setting.climate_log_id for setting in governing_settings(facts)}
    logs = tuple(
        _longer(log, now, entered) if log.id in used and log.samples else log for log in facts.climate_logs
    )
    return replace(facts, climate_logs=logs)


def _longer(log: ClimateLog, now: datetime, entered: Entered) -> ClimateLog:
    last_t, last_temp, last_rh = log.samples[-1]
    t = max(bounds_in_log(Moment.exact(now), log.clock)[0], last_t + 1.0)
    temp = last_temp if entered.forecast_temp is None else entered.forecast_temp
    rh = last_rh if entered.forecast_rh is None else entered.forecast_rh
    return replace(log, samples=(*log.samples, (t, temp, rh)))


# ------------------------------------------------------------------ drives, instruments


def _drives(editions: tuple[PackEdition, ...], opened: Iterable[Finding]) -> Iterable[Drive]:
    """Each drive that is still to be shown, with what its pack asks for."""
    for item in opened:
        proof = _proof(editions, item) if item.check == "drive_log" else None
        if proof is None:
            continue
        needs = needs_of(proof)
        needed = [limit.lower for limit in (needs.total, needs.longest) if limit and limit.lower is not None]
        sun = proof.arguments.get("sun_above")
        yield Drive(
            procedure_id=item.procedure_id,
            title=item.title,
            needed_s=max(needed, default=0.0),
            sun_above_deg=float(sun) if isinstance(sun, int | float) else None,
            citation=item.citation,
        )


def _drives_unknown(editions: tuple[PackEdition, ...], opened: Iterable[Finding]) -> Iterable[str]:
    """Open proofs of which it is not known what drive they ask for; without it a window is too early."""
    for item in opened:
        proof = _proof(editions, item)
        if item.check == "drive_log" and proof is None:
            yield f"{_name(item)}: the text that asks for this drive is not at hand."
        elif proof is not None and any(way.check == "drive_log" for way in proof.alternatives):
            yield f"{_name(item)}: a drive is one of several ways, and which will be taken is not known."


def _proof(editions: tuple[PackEdition, ...], item: Finding) -> Proof | None:
    for edition in editions:
        procedure = edition.procedure(item.procedure_id)
        if (edition.pack, edition.edition) == (item.pack, item.edition) and procedure is not None:
            return next((proof for proof in procedure.proofs if proof.id == item.proof_id), None)
    return None


def _dated(place: Place, equipment: Equipment, now: datetime) -> Dated:
    today, due = _in_date(place, equipment, now)
    tomorrow, _ = _in_date(place, equipment, now + timedelta(days=1))
    told = {(True, True): "in date today and tomorrow", (True, False): "in date today, not tomorrow"}
    words = told.get((today, tomorrow), "not in date today")
    return Dated(tag=equipment.tag, today=today, tomorrow=tomorrow, words=f"{words}{due}")


def _in_date(place: Place, equipment: Equipment, at: datetime) -> tuple[bool, str]:
    local = place.local(at)
    use = Use(
        at=Moment.exact(at),
        days=(local.date(), local.date()),
        day_began_at=at - (local - datetime.combine(local.date(), time())),
        number=equipment.uses_before + 1 if equipment.interval_uses is not None else None,
    )
    status = status_of(equipment, use)
    faults = [fault for fault in status.faults if fault.reason.code in _OUT_OF_DATE]
    due = "" if status.due_on is None else f", valid through {status.due_on.isoformat()}"
    return not faults, due
