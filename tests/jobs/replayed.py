"""A check for any test that makes jobs: all their judgements are reached again from what was kept."""

from jobs.models import Assessment, scope, unscoped
from jobs.services.replay import replay


def every_judgement_is_reached_again() -> int:
    """How many judgements are on record; fails on the first that is not reached again byte for byte."""
    with unscoped():
        kept = list(Assessment.objects.select_related("organisation", "job").order_by("job_id", "gate_at"))
    for one in kept:
        with scope(one.organisation_id):
            found = replay(one)
        different = [line for line in found.lines if not line.same]
        assert found.identical, (found.job, found.gate_at, found.notes, different)
    return len(kept)
