"""Who said that nothing is needed: the maker's word for each fitted sensor that was touched."""

from rules.facts import JobFacts
from rules.fitment import fitted_truth
from rules.packs.coverage import covering, zones_of
from rules.packs.model import PackEdition
from rules.result import NotNeededSaid
from rules.vocabulary import SENSORS
from rules.work_list import touching_names


def not_needed_said(editions: tuple[PackEdition, ...], facts: JobFacts) -> tuple[NotNeededSaid, ...]:
    """Each entry of a maker's pack that answers an operation on the list for a sensor that is not absent.

    Args:
        editions: the editions in force; those that do not cover the vehicle are left out here.
        facts: the snapshot as held at the gate instant.
    """
    applying = covering(editions, facts.vehicle.make, facts.vehicle.model_year, facts.vehicle.model)
    zones = zones_of(applying)
    found: dict[NotNeededSaid, None] = {}
    for sensor in SENSORS:
        if fitted_truth(facts, sensor) == "false":
            continue
        for operation in touching_names(facts, sensor, zones):
            found.update(dict.fromkeys(_said(applying, sensor, operation)))
    return tuple(found)


def _said(editions: tuple[PackEdition, ...], sensor: str, operation: str) -> tuple[NotNeededSaid, ...]:
    return tuple(
        NotNeededSaid(
            sensor=sensor,
            operation=operation,
            plain=entry.plain,
            pack=edition.pack,
            edition=edition.edition,
            citation=entry.cite.text,
        )
        for edition in editions
        if edition.is_maker and sensor in edition.speaks_for
        for entry in edition.not_needed
        if sensor in entry.sensors and operation in entry.operations
    )
