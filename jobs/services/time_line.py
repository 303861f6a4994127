"""The time line of a job, from the facts that its last judgement rests on; reads only."""

from jobs.errors import Conflict
from jobs.models import Device, Job
from jobs.packets.pages.time_line import TimeDay, time_line
from jobs.services.facts_on_file import kept_facts


def time_line_of(job: Job) -> tuple[TimeDay, ...]:
    """Empty where nothing was judged, or the facts of that judgement were not kept or are damaged."""
    if job.current_assessment is None:
        return ()
    try:
        facts = kept_facts(job.current_assessment)
    except Conflict:
        return ()
    return time_line(facts, device_names(job))


def device_names(job: Job) -> dict[str, str]:
    """Names of the group's devices by the words that stand for them where only an id is known."""
    rows = Device.objects.filter(organisation_id=job.organisation_id)
    return {f"device {str(row.pk).split('-')[0]}": row.name for row in rows}
