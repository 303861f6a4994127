"""Where a job stands, by what its record holds and what the last judgement said."""

from jobs.models import Job
from rules.facts import JobFacts, live
from rules.result import Assessment

# Set by what people do, never taken back by a judgement.
_FINAL = ("delivered", "archived")
_RELEASING = ("release", "release_with_waiver", "release_with_refusal")


def state_of(judgement: Assessment, facts: JobFacts) -> str:
    """open, planned, working, review, held or released.

    Released: a fresh release signature stands and the gate is still open. A record that came after it takes
        the job back to held, as long as the car is here.
    """
    fresh = {item.role for item in judgement.sign_offs if item.fresh}
    if "release" in fresh and judgement.disposition in _RELEASING:
        return "released"
    signed = {item.role for item in judgement.sign_offs}
    if "technician" in signed:
        return "held" if judgement.disposition == "hold" else "review"
    if any(item.ended_at is None for item in (*facts.sessions, *facts.operations)):
        return "working"
    return "planned" if live(facts.closings) else "open"


def settle(job: Job, *, judgement: Assessment, facts: JobFacts) -> None:
    """Moves the job to where it stands, unless it was delivered or archived meanwhile."""
    state = state_of(judgement, facts)
    Job.objects.filter(pk=job.pk).exclude(state__in=_FINAL).exclude(state=state).update(state=state)
