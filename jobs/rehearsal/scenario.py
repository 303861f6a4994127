"""Reading a scenario file: every key checked, every name that a record points at looked up."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Final

from jobs.rehearsal.expectation import Expected, read_job
from jobs.rehearsal.faults import Faults, Spot, one_of
from jobs.rehearsal.fields import (
    Field,
    Reader,
    checked,
    day,
    listing,
    may,
    named,
    needed,
    number_typed,
    pairs,
    plain,
    read_table,
    span,
    table_of,
    text,
    when,
    whole,
    word,
    yes_no,
)
from jobs.rehearsal.job_kinds import JOB_KINDS
from jobs.rehearsal.kinds import DESK_KINDS, HEADER, WORLD_SECTIONS, Kind
from jobs.rehearsal.nodes import EXTENDS, LIKE, Branch, Leaf, Table, load, merge, table
from jobs.rehearsal.script import Act, ClockScript, JobScript, Part, Scenario

MOST_JOBS: Final = 20
CAST: Final[Mapping[str, str]] = {
    "technician": "itolvaar",
    "glass": "mondry",
    "front_desk": "tachterly",
    "reviewer": "dpell",
    "manager": "tachterly",
    "quality": "lveskel",
    "operations": "pvantongeren",
}
_MILEAGE = checked(
    lambda typed: len(typed.split()) == 2 and typed.split()[1] in ("km", "mi"), "a mileage such as 21007 km"
)


def _world(node: Branch, faults: Faults, where: str) -> dict[str, Any]:
    fields = {name: may(plain if name == "models" else named(_row)) for name in WORLD_SECTIONS}
    return read_table(node, fields, faults, where, partial=True)


def _row(_: str, node: Branch, faults: Faults, where: str) -> Any:
    if not isinstance(node, Table):
        faults.add(node.spot, where, expected="a mapping of keys", found="something else", code="wrong_value")
        return {}
    return plain(node, faults, where)


def _section(section: str, kind: Kind, node: Branch, faults: Faults, where: str) -> tuple[Act, ...]:
    def one(name: str, inner: Branch, found: Faults, place: str) -> Act | None:
        read = read_table(inner, {**HEADER, **kind.fields}, found, place)
        head = {key: read.pop(key, None) for key in HEADER}
        if head["at"] is None:
            return None
        return Act(
            section=section,
            name=name,
            kind=kind,
            spot=inner.spot,
            at=head["at"],
            body=read,
            by=head["by"] or "",
            device=head["device"] or "",
            received=head["received"],
            where=head["where"] or "",
            refused=head["refused"] or "",
        )

    return tuple(act for act in named(one)(node, faults, where).values() if act is not None)


def _sections_of(kinds: Mapping[str, Kind]) -> dict[str, Field]:
    return {name: may(_reader_of(name, kind)) for name, kind in kinds.items() if kind.written}


def _reader_of(section: str, kind: Kind) -> Reader:
    return lambda node, faults, where: _section(section, kind, node, faults, where)


def _desk(node: Branch, faults: Faults, where: str) -> tuple[Act, ...]:
    read = read_table(node, _sections_of(DESK_KINDS), faults, where)
    return tuple(act for section in DESK_KINDS for act in (read.get(section) or ()))


_CLOCK_FIELDS: Final[Mapping[str, Field]] = {
    "off": may(span, timedelta(0)),
    "compared": may(yes_no, True),
    "delay": may(span, timedelta(0)),
    "sets": may(listing(table_of({"from": needed(when), "off": needed(span)})), ()),
}
_ORDER_FIELDS: Final[Mapping[str, Field]] = {
    "at": needed(when),
    "by": may(text),
    "odometer": needed(_MILEAGE),
    "resolution": may(number_typed, "1"),
    "customer": may(text, "R. Ashgrove"),
    "contact": may(text, ""),
    "payer": may(text, ""),
    "claim": may(text, ""),
}
_VEHICLE_FIELDS: Final[Mapping[str, Field]] = {
    "vin": needed(text),
    "make": needed(text),
    "model": needed(text),
    "year": needed(whole(1900, 2200)),
    "market": may(text, "US"),
    "plate": may(text, ""),
    "placard_front": may(number_typed),
    "placard_rear": may(number_typed),
    "wheelbase": may(number_typed),
    "front_track": may(number_typed),
    "check_digit": may(word(("required", "advisory")), "required"),
    "build_date": may(text),
    "trim": may(text, ""),
    "modifications": may(listing(text), ()),
}
_FILE_FIELDS: Final[Mapping[str, Field]] = {
    "scenario": needed(text),
    "about": may(text, ""),
    EXTENDS: may(text),
    "day": may(day),
    "world": may(_world, {}),
    "clocks": may(named(lambda _, node, faults, where: read_table(node, _CLOCK_FIELDS, faults, where)), {}),
    "desk": may(_desk, ()),
    "jobs": needed(lambda node, faults, where: node),
    "parts": may(lambda node, faults, where: node),
}


def read_scenario(path: Path, *, shown: str = "") -> Scenario:
    """Reads one file with everything that it extends.

    Raises:
        ScenarioError: with every fault found: file, line, what was expected, what was found.
    """
    root = load(path, shown=shown)
    faults = Faults()
    read = read_table(root, _FILE_FIELDS, faults, "")
    jobs = _jobs(read.get("jobs"), read.get("day"), faults)
    parts = _parts(read.get("parts"), jobs, faults)
    _check_names(jobs, read.get("desk") or (), faults)
    faults.stop_if_any()
    first = next(iter(jobs.values()))
    return Scenario(
        title=read["scenario"],
        file=root.spot.file,
        folder=path.parent,
        day=read["day"] or first.day,
        world=read["world"] or {},
        world_spot=root.spot_of("world"),
        clocks={name: _clock(value) for name, value in (read["clocks"] or {}).items()},
        jobs=jobs,
        desk=read["desk"] or (),
        parts=parts,
    )


def _clock(read: Mapping[str, Any]) -> ClockScript:
    sets = tuple((item["from"], item["off"]) for item in read["sets"])
    return ClockScript(off=read["off"], compared=read["compared"], delay=read["delay"], sets=sets)


def _jobs(node: Branch | None, own_day: date | None, faults: Faults) -> dict[str, JobScript]:
    if not isinstance(node, Table) or not node.entries or len(node.entries) > MOST_JOBS:
        spot = node.spot if node is not None else Spot("", 1)
        if node is not None:
            faults.add(
                spot, "jobs", expected=f"1 to {MOST_JOBS} named jobs", found="something else", code="jobs"
            )
        return {}
    node = _alike(node, faults)
    read = named(lambda name, inner, found, where: _job(name, inner, own_day, found))(node, faults, "jobs")
    return {name: job for name, job in read.items() if job is not None}


def _alike(node: Table, faults: Faults) -> Table:
    """A job that is ``like`` another one of the file is that one with its own differences laid upon it."""
    made: dict[str, Branch] = {}
    for name in node:
        _make_alike(name, node, made, faults, ())
    return table(node.spot, made, node.spots)


def _make_alike(
    name: str, node: Table, made: dict[str, Branch], faults: Faults, through: tuple[str, ...]
) -> None:
    job = node.entries[name]
    other = job.get(LIKE) if isinstance(job, Table) else None
    if name in made or other is None or not isinstance(job, Table):
        made.setdefault(name, job)
        return
    found = other.text if isinstance(other, Leaf) else "no name"
    if found not in node.entries or found in (name, *through):
        known = set(node.entries) - {name, *through}
        faults.add(other.spot, f"jobs.{name}.{LIKE}", expected=one_of(known, found), found=found, code="like")
        made[name] = job
        return
    _make_alike(found, node, made, faults, (*through, name))
    below = made[found]
    own = table(job.spot, {key: item for key, item in job.entries.items() if key != LIKE}, job.spots)
    made[name] = merge(below, own, faults, f"jobs.{name}") if isinstance(below, Table) else own


def _job(name: str, node: Branch, own_day: date | None, faults: Faults) -> JobScript | None:
    where = f"jobs.{name}"
    sections = _sections_of(JOB_KINDS)
    fields: dict[str, Field] = {
        "day": may(day),
        "number": may(text, "EM-2026-0417"),
        "location": may(text, "EM"),
        "organisation": may(text, "brackwater"),
        "cast": may(pairs(CAST.__contains__, text, expected=f"one of: {', '.join(CAST)}"), {}),
        "device": may(text, ""),
        "order": needed(table_of(_ORDER_FIELDS)),
        "vehicle": needed(table_of(_VEHICLE_FIELDS)),
        **sections,
    }
    read = read_table(node, fields, faults, where)
    job_day = read.get("day") or own_day
    if job_day is None:
        faults.add(node.spot, where, expected="a key day", found="none", code="missing_key")
        return None
    if not read.get("order") or not read.get("vehicle"):
        return None
    acts = [act for section in sections for act in (read[section] or ())]
    return JobScript(
        id=name,
        spot=node.spot,
        day=job_day,
        number=read["number"] or "",
        location=read["location"] or "",
        organisation=read["organisation"] or "",
        cast={**CAST, **{key: value for key, value in (read["cast"] or {}).items() if value}},
        device=read["device"] or "",
        order=read["order"],
        vehicle=read["vehicle"],
        acts=(*acts, *_ends(acts)),
    )


def _ends(acts: list[Act]) -> list[Act]:
    """A session that ends is a second act, at its end."""
    kind = JOB_KINDS["session_ends"]
    return [
        replace(
            act,
            section="session_ends",
            kind=kind,
            at=act.body["ended"],
            received=act.body["ended_received"],
            refused="",
        )
        for act in acts
        if act.section == "sessions" and act.body.get("ended") is not None
    ]


def _parts(node: Branch | None, jobs: Mapping[str, JobScript], faults: Faults) -> tuple[Part, ...]:
    if node is None:
        return (Part(name="end", spot=Spot("", 1), at=None, expect={}),)
    return tuple(named(lambda name, inner, found, where: _part(name, inner, jobs, found, where))(
        node, faults, "parts").values())  # fmt: skip


def _part(name: str, node: Branch, jobs: Mapping[str, JobScript], faults: Faults, where: str) -> Part:
    read = read_table(node, {"at": may(when), "expect": may(lambda inner, *_: inner)}, faults, where)
    expect = read.get("expect")
    found: dict[str, tuple[Expected, ...]] = {}
    if isinstance(expect, Table):
        for job_id, inner in expect.entries.items():
            if job_id not in jobs:
                spot = expect.spot_of(job_id)
                faults.add(
                    spot, f"{where}.expect", expected=one_of(jobs, job_id), found=job_id, code="unknown_job"
                )
                continue
            found[job_id] = read_job(inner, faults, f"{where}.expect.{job_id}")
    elif expect is not None:
        faults.add(
            expect.spot, where, expected="a mapping of jobs", found="something else", code="wrong_value"
        )
    return Part(name=name, spot=node.spot, at=read.get("at"), expect=found)


def _check_names(jobs: Mapping[str, JobScript], desk: tuple[Act, ...], faults: Faults) -> None:
    """Every record that another one names has to be in the file."""
    for job in jobs.values():
        _check_pointers(job.acts, faults, f"jobs.{job.id}")
    _check_pointers(desk, faults, "desk")


def _check_pointers(acts: tuple[Act, ...], faults: Faults, where: str) -> None:
    there: dict[str, set[str]] = {}
    for act in acts:
        there.setdefault(act.section, set()).add(act.name)
    for act in acts:
        for key, sections in act.kind.points_at.items():
            known = set().union(*(there.get(section, set()) for section in sections))
            value = act.body.get(key)
            for name in value if isinstance(value, tuple) else (value,):
                if name is not None and name not in known:
                    expected = f"a record of {' or '.join(sections)}: {one_of(known, name)}"
                    faults.add(act.spot, f"{where}.{act.path}.{key}", expected=expected, found=name,
                               code="unknown_name")  # fmt: skip
