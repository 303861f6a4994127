"""An opponent's lawyer reads the packet of one job: a proof waived, an attempt failed, a reading undecided.

The car was held for the undecided reading and left all the same. Each test is one attack, in its first line;
what it asserts is where the packet answers. The job is played and printed once.
"""

import math
import re
import zipfile
from dataclasses import replace
from datetime import date
from pathlib import Path
from statistics import NormalDist

import pytest
from pytest_django.plugin import DjangoDbBlocker

from jobs.packets.manifest import grouped
from jobs.packets.pages.front import LIMITS_TEXT, front_view
from jobs.packets.pages.sheets import sheets_view
from rules.canonical import sha256_hex
from rules.facts import Reuse
from tests.hostile.attacked_packet import Attacked, Copy, attacked, checked_by_its_own
from tests.jobs.packets.test_worked_sheets import by_hand, day, last_digit, later, number

pytestmark = pytest.mark.slow
SCAN = "Scan on record (before), CP-EVERY"
ROOM = "Sideways +6.97 mm, limit −10 to 10 mm; standard uncertainty 1.95, accepted only −6.79 to 6.79."


@pytest.fixture(scope="module")
def packet(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Attacked:
    with django_db_blocker.unblock():
        return attacked(tmp_path_factory.mktemp("attacked"))


def between(text: str, start: str, end: str) -> str:
    """The words from ``start`` to the next ``end``."""
    at = text.index(start)
    return text[at : text.index(end, at)]


# ------------------------------------------------------------------ the waiver


def test_page_1_hides_the_waiver(packet: Attacked) -> None:
    """Somebody signed a missing scan away, and the first page, the only one anybody reads, says nothing."""
    box = between(packet.held.page_1, "The whole record", "Who signed")
    waived = box[box.index("waived Scan on record") :]
    for words in (
        "by Lorcan Veskel, quality manager, 5 May 2026, 12:15",
        '"The battery was dead on arrival',
        "Instead: The scan before the aiming was compared in its place.",
        "Owner told 5 May 2026, 12:14. The verdict stays not shown.",
    ):
        assert words in waived
    # Once the car has left without a release the same waiver is told as one without effect, not left out.
    assert "waived Nothing. 1 waiver without effect, see chapter 11." in packet.page_1


def test_the_waived_proof_is_passed_off_as_met(packet: Attacked) -> None:
    """They waive what they cannot prove, and the waived proof then counts as proved."""
    assert "The whole record: not shown . Gate: hold ." in packet.held.page_1
    assert (
        f"not shown {SCAN}. Missing. There is no scan of this car, before repair. Waived, see below."
        in packet.held.page_1
    )
    assert "CP-EVERY, common-practice 3 Every job. [1]" in packet.held.page_1
    assert "not shown 12 of 13 met, 1 not shown" in packet.held.page_1
    chapter = packet.held.chapter("Chapter 5.1, procedure CP-EVERY", "Chapter 5.2, procedure CP-BOND")
    assert "waived by Lorcan Veskel (chapter 11). The verdict stays not shown." in chapter
    kept = [f for f in packet.held.source.assessment.findings if f.waived_by]
    assert [(f.proof_id, f.verdict) for f in kept] == [("before", "not_shown")]


def test_nobody_says_by_what_right_it_was_waived(packet: Attacked) -> None:
    """A manager signs it away: by what right, was the owner told, and was it not typed after the crash?"""
    chapter = between(packet.words, "Late notes, no effect", "Explanations of codes")
    for words in (
        "by Lorcan Veskel, quality manager, 5 May 2026, 12:15:00",
        "By common-practice 3 the quality manager may waive it.",
        "Owner told 5 May 2026, 12:14.",
        "Without effect because: the car left without a release, so none relied on it.",
    ):
        assert words in chapter
    # The text that gives the right travels with the packet under the hash that page 1 prints.
    text = packet.enclosed("pack-common-practice-3.yaml")
    assert (
        b"id: before,     check: scan_present, stage: before_repair, waivable: yes, waive_role: quality_mana"
        in text
    )
    assert f"common-practice 3 {grouped(sha256_hex(text)[:8])}" in packet.page_1
    # When it was signed is the server's word, no tablet's; telling the owner is an event of its own.
    lines = [" ".join(line.split()) for page in packet.printed for line in page.splitlines()]
    signed = next(line for line in lines if line.startswith("Waiver (quality manager)"))
    assert signed == "Waiver (quality manager) 12:15:00 2026-05-05 17:15:00 UTC 12:15:00 server clock"
    assert sum(line.startswith("Waiver (quality manager)") for line in lines) == 1
    assert "Telling the owner of the waiver" in packet.words


def test_the_owner_was_not_told(packet: Attacked) -> None:
    """Where nothing shows that the owner was told, the packet keeps quiet about it."""
    facts = packet.held.source.facts
    silent = replace(facts, waivers=tuple(replace(w, customer_told_at=None) for w in facts.waivers))
    copy = Copy(replace(packet.held.source, facts=silent))
    assert "No record that the owner was told." in copy.page_1
    assert "No record that the owner was told." in copy.chapter("Chapter 11, waivers", "Chapter 12, evidence")


# ------------------------------------------------------------------ the attempt that failed


def test_the_failed_attempt_is_buried(packet: Attacked) -> None:
    """They aimed it twice, and the first time it failed: try to find that."""
    assert "Ines Tolvaar, attempt 2 of 2. Attempt 1 failed: not met." in packet.counsel.page_1
    told = between(packet.words, "Attempt 1, printed and counts for nothing", "Attempt 2, this one counts")
    for words in (
        'Result: failed, "Target not recognized"',
        "The record says otherwise. The record says: target OV-TB-09.",
        "The session failed or was abandoned.",
        "The function did not work.",
        "judged by edition 7: not met",
    ):
        assert words in told


def test_the_evidence_of_the_failure_was_dropped(packet: Attacked) -> None:
    """What showed the failure, the photo of the display and the log, is gone from the file."""
    facts = packet.counsel.source.facts
    first = next(s.id for s in facts.sessions if s.attempt == 1)
    files = [item for item in (*facts.photos, *facts.files) if item.session == first]
    assert {item.kind for item in files} == {"photo", "voltage_log"}
    chapter = packet.counsel.chapter("Chapter 12, evidence", "Set aside, and why")
    assert chapter.count("OV-FC-STILL attempt 1, which counts for nothing") >= len(files)
    for item in files:
        name = next(f.name for f in packet.counsel.source.files if f.evidence_id == item.id)
        assert sha256_hex(packet.enclosed(name)) == item.sha256


def test_what_they_set_aside_is_gone(packet: Attacked) -> None:
    """A picture that did not suit them was set aside: who did that, why, and where is it?"""
    told = between(packet.words, "Set aside, and why", "Chapter 13, computation sheets")
    for words in ("Set aside 5 May 2026, 07:50, by", "Dagny Pell: Cannot be read;", "evidence-0002.jpg"):
        assert words in told
    item = next(photo for photo in packet.counsel.source.facts.photos if photo.ended_at)
    assert sha256_hex(packet.enclosed("evidence-0002.jpg")) == item.sha256


# ------------------------------------------------------------------ the reading that nobody can tell


def test_the_undecided_reading_is_worded_as_a_pass(packet: Attacked) -> None:
    """6.97 of 10 mm looks fine on page 1, and a step of the sum, −0.84 mm, looks better still."""
    assert (
        "Target position (target), OV-FC-STILL. Cannot be told apart from a value on the other side"
        in packet.page_1
    )
    assert ROOM in packet.page_1
    row = between(packet.counsel.page_1, "Forward camera, standing still (Corran)", "Not required:")
    assert "Sideways +6.97 mm, Distance 3205.75 mm, Yaw −0.064 deg. not shown" in row
    assert "−0.84" not in packet.page_1
    assert "Chi squared" not in packet.page_1
    chapter = between(packet.words, "5.3.14 Target position (target) target", "5.3.15 Result of the device")
    assert "A reading above 6.79 mm cannot be told apart from one outside." in chapter
    assert "not shown" in chapter
    assert " so it is met" not in chapter


def test_the_uncertainty_was_chosen_to_fit(packet: Attacked) -> None:
    """They pick the uncertainty until the answer suits; nobody outside can follow it."""
    sheet = between(
        packet.words, "Target position (target) of OV-FC-STILL", "Freshness: start of the session"
    )
    assert "method budget from 2024-01-01" in sheet
    assert "certificate" in sheet
    # JCGM 106:2012: the probability inside the limits, by the normal distribution of Python's own library.
    u = math.sqrt(1.8053**2 + ((3205.7536 + 2760) * math.radians(0.007071)) ** 2)
    inside = NormalDist(6.97184, u).cdf(10) - NormalDist(6.97184, u).cdf(-10)
    assert u == pytest.approx(1.9497, abs=5e-5)
    assert f"probability inside {inside:.4f}"[-6:] == "0.9398"
    chapter = between(packet.words, "5.3.14 Target position (target) target", "5.3.15 Result of the device")
    assert "0.9398" in chapter
    assert inside < 0.95


def test_the_sums_do_not_come_out_on_a_calculator(packet: Attacked) -> None:
    """The figures are rounded for print, so the sheet cannot be recomputed by hand."""
    tight = "".join("".join(page.split()) for page in packet.printed)
    checked = 0
    for sheet in sheets_view(packet.counsel.context):
        for line in sheet["sums"]:
            if line.result == "no value":
                continue
            assert abs(by_hand(line.numbers) - number(line.result)) <= 1.01 * last_digit(line.result), line
            # What was computed with is what is printed, and not a finer number kept inside.
            first = "".join(line.numbers.split(" × ")[0].split(" + ")[0].split())
            assert first in tight, line
            checked += 1
    assert checked > 50


# ------------------------------------------------------------------ clocks, rules, instruments, people


def test_the_technicians_clock_was_wrong(packet: Attacked) -> None:
    """Her tablet was a minute fast, so no time in this packet is worth anything."""
    assert "62 s fast, within 1 s" in packet.words
    assert "nothing is corrected silently" in packet.words
    assert "5 May, 11:30 to 11:50 CDT (UTC−5) (tablet-em-1 said 11:31:02)" in packet.words
    rows = re.findall(
        r"(\d\d:\d\d:\d\d) 2026-05-05 (\d\d:\d\d:\d\d) UTC (\d\d:\d\d:\d\d) tablet-em-1", packet.words
    )
    assert len(rows) > 40
    for true, utc, raw in rows:
        assert seconds(utc) - seconds(true) == 5 * 3600
        assert seconds(raw) - seconds(true) in (62, 63)


def seconds(text: str) -> int:
    hours, minutes, rest = (int(part) for part in text.split(":"))
    return hours * 3600 + minutes * 60 + rest


def test_times_come_without_a_zone(packet: Attacked) -> None:
    """Twelve fifteen where? Nothing says which zone these times are in."""
    assert "Dates, all CDT (UTC−5)" in packet.page_1
    for page in packet.printed:
        assert "CDT (UTC−5)" in page or "UTC" in page


def test_the_rules_were_changed_afterwards(packet: Attacked) -> None:
    """There is an edition 8: they judged by the one that suited them, and may have rewritten it."""
    packs = between(packet.words, "Rules as published", "Below is the text of the editions")
    used = next(e for e in packet.counsel.context.editions if (e.pack, e.edition) == ("orrinvale", 7))
    newer = next(e for e in packet.counsel.context.editions if (e.pack, e.edition) == ("orrinvale", 8))
    on = packet.counsel.source.facts.opened.low.date()
    assert used.in_force_from <= on < newer.in_force_from
    assert "orrinvale 7, judged by" in packs
    assert "orrinvale 8, judged by" not in packs
    for name in ("orrinvale 7", "orrinvale 8"):
        pack, edition = name.split()
        sha256 = sha256_hex(packet.enclosed(f"pack-{pack}-{edition}.yaml"))
        assert grouped(sha256[:32]) in packs
        assert sha256 in {p.sha256 for p in packet.counsel.source.packs}
    tight = "".join(packs.split())
    assert f"inforcefrom{''.join(printed_day(used.in_force_from).split())}to" in tight
    assert f"inforcefrom{''.join(printed_day(newer.in_force_from).split())}" in tight


def printed_day(on: date) -> str:
    return f"{on.day} {on:%b} {on.year}"


def test_the_tape_was_out_of_date(packet: Attacked) -> None:
    """That tape's certificate had lapsed by then."""
    told = between(packet.words, "TM-014 tape", "TS-003 target stand")
    assert "5 May 2026: certificate FM-26-0611, valid through 2 Aug 2026" in told
    row = re.search(r"FM-26-0611 \D+(\d+ \w+ 2026) (\d+ \w+ 2026)", told)
    assert row is not None
    assert later(day(row[1]), 6) == day(row[2])
    assert day("5 May 2026") <= day(row[2])
    assert "State after this job: not known" in told


def test_one_person_signed_twice(packet: Attacked) -> None:
    """The reviewer is the technician herself: nobody looked at this but her."""
    own = "Evidence: Ines Tolvaar, quality reviewer, 5 May 2026, 12:20; by the person who did the work"
    assert f"{own}, so no review" in packet.counsel.page_1
    assert "Evidence: Dagny Pell, quality reviewer, 5 May 2026, 12:25 1" in packet.counsel.page_1
    assert packet.words.count("By the person who did the work, so no review.") == 1
    second = next(f for f in packet.counsel.source.assessment.findings if f.proof_id == "second")
    by = {s.id: s.person for s in packet.counsel.source.facts.sign_offs}
    assert [by[item] for item in second.outcome.evidence] == ["dpell"]


def test_the_photo_is_of_another_car(packet: Attacked) -> None:
    """That plate was photographed on another day, or for another customer."""
    chapter = between(packet.words, "Chapter 12, evidence", "Set aside, and why")
    assert (
        "Photos are compared with those of the operator's other jobs, by their bytes and by their look"
        in chapter
    )
    photos = packet.counsel.source.facts.photos
    assert len({photo.sha256 for photo in photos}) == len(photos)
    for photo in photos:
        assert not photo.reuse
        assert packet.counsel.source.facts.opened.low <= photo.captured.low <= photo.received_at
    # One that was found elsewhere is told of on the spot.
    found = Reuse(other_evidence="x", distance=0, same_job=False, same_bytes=True)
    facts = replace(packet.held.source.facts, photos=(replace(photos[0], reuse=(found,)), *photos[1:]))
    alike = Copy(replace(packet.held.source, facts=facts)).chapter("Chapter 12, evidence", "Chapter 13")
    assert "The same file as a picture of another job; nobody has decided" in alike


# ------------------------------------------------------------------ the file itself


def test_pages_were_taken_out_or_changed(packet: Attacked, tmp_path: Path) -> None:
    """Pages are missing, and nobody could tell if one word had been changed."""
    count = len(packet.printed)
    for place, page in enumerate(packet.printed, start=1):
        assert f"page {place} of {count}" in " ".join(page.split())
    assert packet.checked["agrees"]
    root = packet.checked["root"]
    assert all(group in packet.page_1 for group in grouped(root).split())
    changed = tmp_path / "changed.zip"
    with zipfile.ZipFile(packet.bundle) as given, zipfile.ZipFile(changed, "w", zipfile.ZIP_STORED) as made:
        for info in given.infolist():
            data = given.read(info)
            if info.filename.endswith("/assessment.json"):
                data = data.replace(b'"undecided"', b'"unreadable"', 1)
            made.writestr(info, data)
    found = checked_by_its_own(packet.bundle, tmp_path, changed)
    assert not found["agrees"]
    differing = {line["what"]: line["at_fault"] for line in found["lines"] if line["result"] == "differs"}
    assert {"bag", "pdf parts", "files", "content", "verdicts"} <= set(differing)
    assert differing["files"] == ["assessment.json"]
    assert differing["verdicts"] == ["OV-FC-STILL target"]


def test_later_additions_are_kept_quiet(packet: Attacked) -> None:
    """If something came out later, this packet would not tell us."""
    last = packet.words[packet.words.rindex("What became known later") :]
    assert "As of sealing, Tue 5 May 2026, 13:11:00 CDT (UTC−5): none." in last
    assert "dated additions" in last
    result, words = packet.line("additions")
    assert result == "agrees"
    assert "What was added after the extract was written cannot be seen from this file." in words


def test_the_signature_is_worthless_and_they_hide_it(packet: Attacked) -> None:
    """It is signed with a play key, and no authority vouches for the time: they do not say so."""
    assert "SIGNED WITH A DEMONSTRATION KEY, not for evidence:" in packet.page_1
    assert "It is a demonstration key: what it signs is no evidence of anything." in packet.words
    assert "The day and time of sealing are by the operator's own clock." in packet.words
    assert (
        "It carries no time stamp: that time is by the signer's own clock." in packet.line("pdf signature")[1]
    )


def test_the_copies_contradict_each_other(packet: Attacked) -> None:
    """The insurer was shown another story than we were."""
    ours, theirs = front_view(packet.counsel.context), front_view(packet.insurers.context)
    for part in ("rows", "box", "signatures", "touched", "dates", "citations", "not_required"):
        assert ours[part] == theirs[part], part
    verdicts = [
        [(f.procedure_id, f.proof_id, f.verdict, f.outcome.reasons) for f in copy.source.assessment.findings]
        for copy in (packet.counsel, packet.insurers)
    ]
    assert verdicts[0] == verdicts[1]
    assert "Owner: withheld." in packet.insurers.page_1
    assert "things withheld" in packet.insurers.page_1


def test_it_claims_that_the_car_was_safe(packet: Attacked) -> None:
    """They gave the car out as safe, released and in order."""
    front = packet.page_1
    assert "Gate: hold; left against hold." in front
    assert "Release: nobody has released the car; it left 5 May 2026, 13:02, against hold" in front
    assert " ".join(LIMITS_TEXT.split()) in front
    before_limits = front[: front.index("This packet records what was shown")].casefold()
    for word in ("safe", "certif", "guarantee", "release with", "passed", "in order"):
        assert word not in before_limits
