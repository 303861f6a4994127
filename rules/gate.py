"""The release gate: what still holds the job, and what a departure while it held has done."""

from collections.abc import Iterable, Sequence

from rules.facts import JobFacts
from rules.result import Decision, Requirement
from rules.sign_offs import last_sign_off, stale_because
from rules.verdict import MET, Disposition, Finding


def open_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings that stand between the job and release: not met or not shown, neither waived nor refused."""
    return tuple(item for item in findings if item.counts and item.waived_by is None and item.verdict != MET)


def disposition(
    findings: Sequence[Finding], requirements: Iterable[Requirement], decisions: Iterable[Decision]
) -> Disposition:
    """release, release_with_waiver, release_with_refusal or hold.

    Findings of refused procedures are taken out by ``counts``; a requirement that cannot be told holds, and
    so does a job of which no pack in force asks anything: nothing was judged.
    """
    if not findings:
        return "hold"
    if open_findings(findings) or any(item.state == "cannot_tell" for item in requirements):
        return "hold"
    if any(item.kind == "refusal" and item.effect for item in decisions):
        return "release_with_refusal"
    if any(item.waived_by is not None and item.verdict != MET for item in findings if item.counts):
        return "release_with_waiver"
    return "release"


def has_fresh_release(facts: JobFacts) -> bool:
    """Is there a release sign-off that still stands for the record?"""
    released = last_sign_off(facts, "release")
    return released is not None and not stale_because(released, facts)


def left_against_hold(at_departure: Disposition, facts_at_departure: JobFacts) -> bool:
    """Did the car depart while the gate held it, or without a fresh release sign-off?

    Both are judged from what the server held at departure, so the answer never changes later.
    """
    return at_departure == "hold" or not has_fresh_release(facts_at_departure)
