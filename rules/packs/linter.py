"""Faults that show only when the parts of a readable pack are looked at together, before publishing."""

from rules.packs.coverage import contradicting_pairs, silent_pairs
from rules.packs.errors import Fault, FaultList
from rules.packs.layering import layering_faults
from rules.packs.model import PackEdition


def lint(edition: PackEdition, beside: tuple[PackEdition, ...] = ()) -> tuple[Fault, ...]:
    """Every fault of ``edition`` in the company of the packs ``beside`` it.

    Codes: ``silence``, ``needed_and_not_needed``, ``before_circle``, and those of the layering.
    """
    faults = FaultList()
    _check_silence(edition, faults)
    _check_before_circle(edition, faults)
    for fault in layering_faults((*beside, edition)):
        faults.add(fault.line, fault.code, fault.message)
    return faults.ordered


def _check_silence(edition: PackEdition, faults: FaultList) -> None:
    for sensor, name in silent_pairs(edition):
        words = f"speaks for {sensor}, but neither asks for anything after {name} nor says it is not needed"
        faults.add(1, "silence", f"{edition.pack} {words}")
    for sensor, name in contradicting_pairs(edition):
        words = f"{name} is both needed and not needed for {sensor}"
        faults.add(1, "needed_and_not_needed", f"{edition.pack}: {words}")


def _check_before_circle(edition: PackEdition, faults: FaultList) -> None:
    after: dict[str, tuple[str, ...]] = {}
    for trigger in edition.triggers:
        for first in trigger.procedures:
            after[first] = (*after.get(first, ()), *trigger.before)
    for start, later in after.items():
        reached: set[str] = set()
        waiting = list(later)
        while waiting:
            name = waiting.pop()
            if name not in reached:
                reached.add(name)
                waiting.extend(after.get(name, ()))
        if start in reached:
            faults.add(1, "before_circle", f"{start} would have to come before itself")
