"""Advice on a job: how to move a stand, what to measure next, and whether the car can go home today."""

from dataclasses import dataclass
from datetime import datetime

from jobs.facts import job_facts, pack_set
from jobs.models import Job
from jobs.selectors.api_assessment import judged, latest_assessment
from jobs.selectors.own_drives import middle, own_ratios
from rules.advice.home import HomeAnswer
from rules.advice.home_question import Entered, OwnDrives, home_question
from rules.advice.home_today import home_today
from rules.advice.target import TargetAdvice, target_advice


@dataclass(frozen=True, slots=True, kw_only=True)
class JobAdvice:
    """Advice from the last judgement of a job and what was held at ``asked_at``. No verdict rests on it."""

    asked_at: datetime
    gate_at: datetime
    targets: tuple[TargetAdvice, ...]
    home: HomeAnswer


def home_answer(*, job: Job, as_of: datetime, entered: Entered) -> HomeAnswer:
    """Whether the car can go home today, by the record as held at ``as_of`` and a person's entries.

    Raises:
        NotFound: the job was never judged.
    """
    judgement = judged(latest_assessment(job))
    ratios = own_ratios(job.location)
    own = OwnDrives(ratio=middle(ratios), drives=len(ratios))
    facts = job_facts(job=job, as_of=as_of)
    return home_today(home_question(pack_set(job.organisation), facts, judgement, as_of, entered, own))


def advice_of(*, job: Job, as_of: datetime, entered: Entered) -> JobAdvice:
    """All advice on one job.

    Raises:
        NotFound: the job was never judged.
    """
    judgement = judged(latest_assessment(job))
    return JobAdvice(
        asked_at=as_of,
        gate_at=judgement.gate_at,
        targets=target_advice(judgement),
        home=home_answer(job=job, as_of=as_of, entered=entered),
    )
