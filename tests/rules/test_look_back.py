"""A finished job under another text: which verdicts would be others, and how many jobs that concerns."""

from dataclasses import replace
from typing import Any

import pytest

from rules.assess import assess
from rules.look_back import (
    KINDS,
    Change,
    Tally,
    compare,
    kinds_of,
    under_text,
    without_pack,
)
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack
from rules.result import Assessment
from rules.verdict import Verdict
from tests.rules.builders import at
from tests.rules.packs_on_file import FOLDER, packs_on_file
from tests.rules.windshield_job import windshield_job

GATE = at("11:50")
SEVEN = (FOLDER / "orrinvale.7.yaml").read_text(encoding="utf-8")
ROAD_VOLTS = '{id: volts,  check: voltage_log, limit: "between 12.0 V and 15.0 V"'


def archived() -> Assessment:
    return assess(packs_on_file(), windshield_job(), as_of=GATE)


def text(*changes: tuple[str, str]) -> PackEdition:
    """Edition 7 with changes, each of one place, as a later edition."""
    told = SEVEN
    for old, new in (
        *changes,
        ("edition: 7\n", "edition: 9\n"),
        ('from: "2026-03-01"', 'from: "2026-09-01"'),
    ):
        assert told.count(old) == 1, (old, told.count(old))
        told = told.replace(old, new)
    return read_pack(told.encode())


def judged_under(edition: PackEdition) -> tuple[Change, ...]:
    packs = under_text(packs_on_file(), edition, archived())
    return compare(archived(), assess(packs, windshield_job(), as_of=GATE))


def told(changes: tuple[Change, ...]) -> list[tuple[str, str, str]]:
    return [(item.kind, item.procedure_id, item.proof_id) for item in changes]


def test_the_same_text_on_another_day_changes_nothing() -> None:
    assert archived().verdict == "met"
    assert judged_under(text()) == ()
    assert kinds_of(()) == ("same",)


def test_a_text_of_later_documents_keeps_the_lookups_as_they_were() -> None:
    """Edition 8 cites a document of June; nobody can have looked it up in May."""
    eight = next(item for item in packs_on_file().editions if (item.pack, item.edition) == ("orrinvale", 8))
    assert judged_under(eight) == ()
    # Without that, the lookup of May would be in conflict with the text of June.
    others = tuple(item for item in packs_on_file().editions if item.pack != "orrinvale")
    early = replace(eight, in_force_from=others[0].in_force_from)
    plain = replace(packs_on_file(), editions=(*others, early))
    blunt = compare(archived(), assess(plain, windshield_job(), as_of=GATE))
    assert ("newly_not_shown", "OV-FC-ROAD", "text_current") in told(blunt)


def test_a_tighter_limit_is_newly_not_met() -> None:
    changes = judged_under(text((ROAD_VOLTS, ROAD_VOLTS.replace("12.0", "14.9"))))
    assert ("newly_not_met", "OV-FC-ROAD", "volts") in told(changes)
    (volts,) = [item for item in changes if item.proof_id == "volts"]
    assert (volts.before, volts.after, volts.about) == ("met", "not_met", "voltage")


def test_evidence_that_nobody_collected_is_newly_not_shown() -> None:
    line = "      - {id: odo,     check: odometer_agrees"
    added = "      - {id: window, check: photo_set, needs: [camera_window_outside], waivable: no}\n"
    start = SEVEN.index("- id: OV-FC-ROAD")
    assert SEVEN.index(line, start) > start
    changes = judged_under(text((SEVEN[start:SEVEN.index(line, start)],
                                 SEVEN[start:SEVEN.index(line, start)] + added)))  # fmt: skip
    assert told(changes) == [("newly_not_shown", "OV-FC-ROAD", "window")]
    assert (changes[0].before, changes[0].after, changes[0].about) == (None, "not_shown", "photo")


def test_requirements_appear_and_disappear() -> None:
    gone = compare(
        archived(), assess(without_pack(packs_on_file(), "orrinvale"), windshield_job(), as_of=GATE)
    )
    kinds = {(item.kind, item.procedure_id) for item in gone}
    assert ("requirement_disappears", "OV-FC-ROAD") in kinds
    # Without the maker's pack somebody has to look the text up.
    assert ("requirement_appears", "CP-LOOKUP") in kinds
    back = compare(
        assess(without_pack(packs_on_file(), "orrinvale"), windshield_job(), as_of=GATE), archived()
    )
    assert ("requirement_appears", "OV-FC-ROAD") in {(item.kind, item.procedure_id) for item in back}


def test_a_foundation_of_a_later_edition_stands_in() -> None:
    later = text(("edition: at_least 3", "edition: at_least 4"))
    assert {item.kind for item in judged_under(later)} == {"requirement_appears"}
    three = next(item for item in packs_on_file().editions if item.pack == "common-practice")
    four = replace(three, edition=4, in_force_from=later.in_force_from)
    packs = replace(packs_on_file(), editions=(*packs_on_file().editions, four))
    assert (
        compare(archived(), assess(under_text(packs, later, archived()), windshield_job(), as_of=GATE)) == ()
    )


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        ("met", "met", None), ("met", "not_met", "newly_not_met"), ("met", "not_shown", "newly_not_shown"),
        ("not_shown", "met", "newly_met"), ("not_met", "met", "newly_met"), ("not_met", "not_met", None),
        ("not_shown", "not_met", "newly_not_met"), ("not_met", "not_shown", "newly_not_shown"),
        (None, "met", None), (None, "not_met", "newly_not_met"), (None, "not_shown", "newly_not_shown"),
        ("met", None, None), ("not_met", None, "newly_met"), ("not_shown", None, "newly_met"),
    ],
)  # fmt: skip
def test_every_pair_of_verdicts_has_its_class(
    before: Verdict | None, after: Verdict | None, kind: str | None
) -> None:
    whole = archived()
    proof = next(item for item in whole.findings if item.proof_id == "volts")

    def with_verdict(verdict: Verdict | None) -> Assessment:
        own = () if verdict is None else (replace(proof, outcome=replace(proof.outcome, verdict=verdict)),)
        return replace(whole, findings=(*(item for item in whole.findings if item != proof), *own))

    changes = compare(with_verdict(before), with_verdict(after))
    assert [item.kind for item in changes] == ([] if kind is None else [kind])


def change(kind: Any, about: str, *, is_new: bool = True) -> Change:
    return Change(
        kind=kind, procedure_id="P", proof_id="p", check=about, title="P", before=None if is_new else "met",
        after="not_met",
    )  # fmt: skip


def test_the_count_line() -> None:
    """The sentence of a worked example: 212 jobs, 9 with the new voltage, 140 without the new photo."""
    tally = Tally()
    for number in range(212):
        changes = []
        if number < 9:
            changes.append(change("newly_not_met", "voltage_log", is_new=False))
        if 5 <= number < 145:
            # Two photos are missing: the job still counts once.
            changes += [change("newly_not_shown", "photo_set"), change("newly_not_shown", "photo_set")]
        tally.add(tuple(changes))
    assert tally.line() == "Of 212 archived jobs, 9 would not meet the new voltage, 140 lack the new photo."
    assert tally.kinds == {"newly_not_met": 9, "newly_not_shown": 140, "same": 67}
    assert set(tally.kinds) <= set(KINDS)
    assert Tally(jobs=3).line() == "Of 3 archived jobs, all would be judged the same."
    alone = Tally()
    alone.add((change("newly_not_shown", "photo_set"),))
    assert alone.line("open") == "Of 1 open job, 1 lacks the new photo."
