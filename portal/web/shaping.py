"""From an assessment to what a page shows: groups, the next action, the band about adhesive, the gate."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from portal.web import wording
from portal.web.proof_rows import Row, plain
from rules.explain import Explanation, readable
from rules.result import Assessment, ProcedureResult, ReadyTime, Requirement, SignOffState


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    code: str
    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NextAction:
    when: str
    title: str
    change: str
    href: str
    button: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The band about adhesive; ``passed`` only when the gate instant lies after the cautious ready time."""

    headline: str
    sentence: str
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PackUp:
    """The answer to "may I pack up": first words, the rest, and what would be lost."""

    answer: str
    words: str
    rows: tuple[Row, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GateItem:
    """One item of a column of the gate page: a proof, or a whole procedure that nobody has begun."""

    title: str
    sentence: str
    change: str
    settle_words: str
    waived_by: str
    refused: bool
    told: tuple[Explanation, ...]


def open_groups(rows: Iterable[Row]) -> tuple[Group, ...]:
    """Open rows in the order of what can still be done; what a person decided about stands last."""
    opened = [item for item in rows if item.verdict != "met"]
    groups = [
        Group(
            code=code,
            title=title,
            rows=tuple(
                sorted(
                    (item for item in opened if item.settle == code and not item.decided),
                    key=lambda item: item.order,
                )
            ),
        )
        for code, title in wording.SETTLE_GROUPS
    ]
    decided = tuple(item for item in opened if item.decided)
    groups.append(Group(code="decided", title="Waived or refused; the verdict stays", rows=decided))
    return tuple(group for group in groups if group.rows)


def next_action(groups: tuple[Group, ...]) -> NextAction | None:
    """The next thing that can be done; None where nothing is open or nothing can be done.

    What can be lost with the set-up comes first; then the turn of a usual day decides, at the car or not.
    """
    by_code = {group.code: group for group in groups}
    if "now" in by_code:
        return _action("now", by_code["now"].rows[0])
    found = [(code, row) for code in ("car_here", "desk") if code in by_code for row in by_code[code].rows]
    if not found:
        return None
    code, first = min(found, key=lambda item: item[1].turn)
    return _action(code, first)


def _action(code: str, first: Row) -> NextAction:
    button, href = _button(first)
    return NextAction(
        when=wording.NEXT_WHEN[code], title=first.title, change=first.change, href=href, button=button
    )


def _button(first: Row) -> tuple[str, str]:
    text = first.change.lower()
    if first.title.endswith("signature"):
        return "Sign", "#sign"
    if "photo" in text or "picture" in text:
        return "Take the photo", "#photo"
    if "file" in text or first.title in ("Scan before the repair", "Final scan"):
        return "Add the file", "#file"
    return "Show it in the list", f"#{first.anchor}"


def band(assessment: Assessment, tz: str) -> Band | None:
    """What stands in the red band: no driving before a time, no time at all, or the time is past."""
    ready = assessment.ready
    if ready is None:
        return None
    if ready.ready_cautious is None:
        return Band(headline="Do not drive: no ready time", sentence=readable(ready.sentence), passed=False)
    local = _begun_minute_in_full(ready.ready_cautious).astimezone(ZoneInfo(tz))
    gate_day = assessment.gate_at.astimezone(ZoneInfo(tz)).date()
    when = (
        f"{local:%H:%M}" if local.date() == gate_day else f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"
    )
    sentence = _band_sentence(assessment, ready, tz)
    if ready.passed:
        return Band(headline=f"Adhesive ready since {when}", sentence=sentence, passed=True)
    later = f"{sentence} Later if it gets colder or drier."
    return Band(headline=f"Do not drive before {when}", sentence=later, passed=False)


def _begun_minute_in_full(at: datetime) -> datetime:
    """The next full minute, so that the time on the screen is never the earlier one.

    Parts of a second are the width of a clock comparison, not a begun minute.
    """
    whole = (at + timedelta(milliseconds=500)).replace(microsecond=0)
    return whole if not whole.second else whole.replace(second=0) + timedelta(minutes=1)


def _band_sentence(assessment: Assessment, ready: ReadyTime, tz: str) -> str:
    """``Glass set 12:55 CDT. Coldest 19.2 °C, driest 53 % so far: 60 min by the data sheet.``"""
    found = [item for item in assessment.findings if item.check == "adhesive_ready"]
    numbers: dict[str, list[float]] = {}
    for number in found[0].outcome.numbers if len(found) == 1 else ():
        if number.value is not None:
            numbers.setdefault(number.name, []).append(number.value)
    coldest, driest = numbers.get("lowest_temp", []), numbers.get("lowest_rh", [])
    if len(coldest) != 1 or len(driest) != 1 or ready.minutes is None:
        return readable(ready.sentence)
    set_at: datetime = ready.set_at.astimezone(ZoneInfo(tz))
    so_far = "" if ready.passed else " so far"
    return (
        f"Glass set {set_at:%H:%M %Z}. Coldest {plain(coldest[0])} °C, driest {plain(driest[0])} %{so_far}: "
        f"{ready.minutes} min by the data sheet, with room for the logger's uncertainty."
    )


def pack_up(assessment: Assessment, groups: tuple[Group, ...], judging: str) -> PackUp:
    """Whether the set-up may go, by the last judgement; while one is under way nobody can say."""
    if judging in ("waiting", "running"):
        return PackUp(answer="Wait.", words="The record is being judged. The answer may change.")
    at_risk = next((group.rows for group in groups if group.code == "now"), ())
    if at_risk:
        return PackUp(
            answer="Not yet.", words="These can no longer be settled once the set-up is gone:", rows=at_risk
        )
    ahead = [
        item.title
        for item in required_procedures(assessment)
        if item.kind and item.governing_session is None and not item.refused
    ]
    if ahead:
        return PackUp(answer="Not yet.", words=f"Nobody has begun: {', '.join(ahead)}.")
    if any(group.code == "car_here" for group in groups):
        words = "No open proof needs the set-up any more. The car stays: some proofs still need it here."
        return PackUp(answer="The set-up may go.", words=words)
    return PackUp(answer="The set-up may go.", words="No open proof needs the set-up or the car any more.")


def photos_asked(assessment: Assessment) -> frozenset[str]:
    """Photo subjects that an open proof names as missing."""
    changes = " ".join(
        item.outcome.change
        for item in assessment.findings
        if item.verdict != "met" and item.check == "photo_set"
    )
    return frozenset(code for code, _ in wording.SUBJECTS if code.replace("_", " ") in changes)


def gate_of(assessment: Assessment | None) -> str:
    """The gate's code for marks: left_against_hold wins over everything, for ever."""
    if assessment is None:
        return "none"
    return "left_against_hold" if assessment.left_against_hold else assessment.disposition


def gate_sentence(assessment: Assessment, rows: tuple[Row, ...]) -> str:
    """What stands between this car and release, counted in words."""
    if assessment.left_against_hold:
        return "The car left while the gate said hold. The record says so for ever."
    if assessment.disposition == "release":
        return "Every required proof is met and the signatures are fresh."
    if assessment.disposition != "hold":
        return "Only what a person decided is left open. The verdicts stay as they are."
    parts = _in_the_way(assessment, rows)
    return f"{wording.sentence_start('; '.join(parts) or 'the record is not complete')}."


def _in_the_way(assessment: Assessment, rows: tuple[Row, ...]) -> list[str]:
    counted = [item for item in rows if item.verdict != "met" and not item.decided]
    undecided = [item for item in assessment.requirements if item.state == "cannot_tell"]
    parts = []
    if counted:
        by_class = [
            f"{sum(item.settle == code for item in counted)} {words}"
            for code, words in wording.SETTLE_COUNTS
            if any(item.settle == code for item in counted)
        ]
        things = wording.counted(len(counted), "proof stands", "proofs stand")
        parts.append(f"{things} between this car and release: {', '.join(by_class)}")
    if undecided:
        parts.append(
            f"of {wording.counted(len(undecided), 'procedure', 'procedures')} nobody can tell yet "
            "whether it is required"
        )
    if not parts:
        parts = [readable(line).rstrip(".") for line in assessment.held_because]
    return parts


def column(rows: Iterable[Row]) -> list[GateItem]:
    """The items of one column; the proofs of a procedure that nobody has begun are one item."""
    items: list[GateItem] = []
    waiting: dict[str, list[Row]] = {}
    for row in rows:
        if row.not_begun and not row.decided:
            waiting.setdefault(row.procedure_id, []).append(row)
        else:
            items.append(_gate_item(row))
    return items + [_not_begun(group) for group in waiting.values()]


def _gate_item(row: Row) -> GateItem:
    return GateItem(
        title=row.title,
        sentence=row.line if row.verdict == "met" else row.told.shows,
        change=row.change,
        settle_words=row.settle_words,
        waived_by=row.waived_by,
        refused=row.refused,
        told=(row.told,),
    )


def _not_begun(rows: list[Row]) -> GateItem:
    names = [row.title[:1].lower() + row.title[1:] for row in rows]
    missing = wording.counted(len(rows), "proof does", "proofs do")
    return GateItem(
        title=rows[0].procedure,
        sentence=f"Nobody has begun it. {missing} not exist: {', '.join(names)}.",
        change="Carry it out.",
        settle_words=rows[0].settle_words,
        waived_by="",
        refused=False,
        told=tuple(row.told for row in rows),
    )


def required_of(assessment: Assessment) -> tuple[Requirement, ...]:
    return tuple(item for item in assessment.requirements if item.state != "not_required")


def not_required_words(assessment: Assessment) -> str:
    return ", ".join(item.title for item in assessment.requirements if item.state == "not_required")


def required_procedures(assessment: Assessment) -> tuple[ProcedureResult, ...]:
    return tuple(item for item in assessment.procedures if item.state != "not_required")


def signature_words(state: SignOffState, people: dict[str, str]) -> dict[str, object]:
    return {
        "role": wording.ROLE_WORDS[state.role],
        "person": people.get(state.person, "somebody"),
        "covered": state.covered,
        "coverable": state.coverable,
        "fresh": state.fresh,
        "why": "; ".join(readable(line) for line in state.stale_because),
    }
