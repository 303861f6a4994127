"""What the record shows about which sensors are fitted to the vehicle."""

from collections.abc import Mapping
from typing import Literal

from rules.facts import FittedWay, JobFacts, live, once
from rules.scans import own_scans
from rules.verdict import Truth
from rules.vocabulary import FITTED_WAYS_NOT_COUNTED, SENSORS

FittedState = Literal["yes", "no", "unknown"]
TRUTH_OF_FITTED: dict[FittedState, Truth] = {"yes": "true", "no": "false", "unknown": "unknown"}


def counted_ways(facts: JobFacts, sensor: str) -> tuple[FittedWay, ...]:
    """The live ways that say yes or no about ``sensor``; an owner's word is none."""
    return _ways_by_sensor(facts).get(sensor, ())


@once
def _ways_by_sensor(facts: JobFacts) -> dict[str, tuple[FittedWay, ...]]:
    found: dict[str, list[FittedWay]] = {}
    for way in live(facts.fitted_ways):
        if way.state in ("yes", "no") and way.way not in FITTED_WAYS_NOT_COUNTED:
            found.setdefault(way.sensor, []).append(way)
    return {sensor: tuple(ways) for sensor, ways in found.items()}


@once
def fitted_truths(facts: JobFacts) -> Mapping[str, Truth]:
    """The truth of every sensor at once, by the sensor."""
    by_sensor = _ways_by_sensor(facts)
    return {sensor: _truth(facts, sensor, by_sensor.get(sensor, ())) for sensor in SENSORS}


def _truth(facts: JobFacts, sensor: str, counted: tuple[FittedWay, ...]) -> Truth:
    return TRUTH_OF_FITTED[_state(facts, sensor, counted, 2)]


@once
def answering_module(facts: JobFacts, sensor: str) -> str | None:
    """The id of a scan of this vehicle in which a module of ``sensor`` answers, if there is one."""
    for scan in own_scans(facts):
        if any(module.system == sensor and module.answered for module in scan.modules):
            return scan.id
    return None


@once
def fitted_state(facts: JobFacts, sensor: str, ways: int = 2) -> FittedState:
    """The final state of ``sensor``: a yes or no needs ``ways`` different ways that agree.

    Contradicting ways leave it unknown, and so does a module of the sensor that answers in a scan of this
    vehicle while the ways say no. What is not established is unknown, never no.
    """
    return _state(facts, sensor, counted_ways(facts, sensor), ways)


def _state(facts: JobFacts, sensor: str, counted: tuple[FittedWay, ...], ways: int) -> FittedState:
    if len(counted) < ways:
        return "unknown"
    states = {way.state for way in counted}
    if len(states) != 1 or len({way.way for way in counted}) < ways:
        return "unknown"
    if "yes" in states:
        return "yes"
    return "unknown" if answering_module(facts, sensor) is not None else "no"


def fitted_truth(facts: JobFacts, sensor: str) -> Truth:
    """The same as a truth value for triggers."""
    known = fitted_truths(facts).get(sensor)
    return TRUTH_OF_FITTED[fitted_state(facts, sensor)] if known is None else known


@once
def fitted_fact(facts: JobFacts, sensor: str) -> str:
    """What the state rests on, in plain words, for the table of triggers."""
    counted = counted_ways(facts, sensor)
    said = [f"{_PLAIN_WAYS.get(way.way, way.way)} says {way.state}" for way in counted]
    if fitted_state(facts, sensor) == "unknown" and {way.state for way in counted} == {"no"}:
        scan = answering_module(facts, sensor)
        if scan is not None:
            said.append("a module of it answered in a scan of this vehicle")
    if not said:
        return "nothing recorded that counts"
    return "; ".join(dict.fromkeys(said))


def open_sensors(facts: JobFacts, ways: int = 2) -> tuple[str, ...]:
    """Every sensor without a final yes or no, in the order of the vocabulary."""
    return tuple(sensor for sensor in SENSORS if fitted_state(facts, sensor, ways) == "unknown")


_PLAIN_WAYS = {"build_data": "build data", "sight": "sight", "scan_module": "the scan's module list"}
