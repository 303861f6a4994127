"""Checks on plain records of a session or an operation: statements, tool results, documents, key, targets."""

from typing import Final

from rules.checks.base import CheckContext, PartWindow
from rules.checks.draft import Draft
from rules.checks.event_times import event_time
from rules.checks.freshness import (
    of_session,
    part_name,
    part_record,
    part_window,
    perhaps_of_session,
    place_of,
    serving,
)
from rules.checks.photos import judge_photos, judge_with_photo, photos_showing
from rules.checks.sentences import begin, clock_text, names_argument, plain, word_argument, words
from rules.checks.stale_words import why_stale
from rules.decisions import person_named
from rules.facts import (
    FunctionCheck,
    GlassSet,
    JobFacts,
    KeyEvent,
    Moment,
    Session,
    Statement,
    live,
)
from rules.science.clocks import happened_before, possibly_last, shown_strictly_before
from rules.verdict import Outcome, Truth, not_shown

_AFTER_SESSION: Final = "after_session"
_FAILED_RESULTS: Final = ("failed", "abandoned")
_NO_KEY_OFF: Final = "Repeat the session without switching off."


# ------------------------------------------------------------------ statements


def statement(context: CheckContext) -> Outcome:
    """Every name in ``says`` is stated, by a statement of the session or one that serves its part.

    Reasons: says_otherwise, missing, evidence_stale, order_unprovable, conflict, and those of the photo.
    """
    says = names_argument(context, "says")
    draft = begin(context, f"It must be stated for this session: {words(says)}")
    own = is_own_statement(context)
    for name in says:
        found = [item for item in live(context.facts.statements) if name in item.says or name in item.denies]
        if own:
            _judge_own(draft, context, name, found)
        else:
            _judge_serving(draft, context, name, found)
    subject = word_argument(context, "with_photo")
    if subject:
        judge_with_photo(draft, context, subject, own_session=own)
    if not draft.tally.reasons:
        draft.say(_stated(context, draft, says))
    return draft.outcome()


def _stated(context: CheckContext, draft: Draft, says: tuple[str, ...]) -> str:
    """Who stated it, and when."""
    made = [item for item in live(context.facts.statements) if item.id in draft.evidence]
    told = dict.fromkeys(
        f"{_name(context.facts, item.by)}, {clock_text(place_of(context), item.at)}" for item in made
    )
    return f"Stated: {words(says)} ({'; '.join(told)})."


def _name(facts: JobFacts, who: str) -> str:
    person = person_named(facts, who)
    return who if person is None else person.name


def is_own_statement(context: CheckContext) -> bool:
    """Does the statement belong to one session: about the road, or made after the session?"""
    if word_argument(context, "at") == _AFTER_SESSION:
        return True
    return context.procedure.kind == "dynamic" or part_name(context) == "road"


def _judge_own(draft: Draft, context: CheckContext, name: str, found: list[Statement]) -> None:
    own = of_session(context, found, _sessions_of, _stated_at)
    perhaps = perhaps_of_session(context, found, _sessions_of, _stated_at)
    denied = [item for item in own if name in item.denies]
    window = part_window(context)
    if denied:
        draft.rests_on(*denied)
        draft.not_met(
            "says_otherwise",
            f"The statement denies: {plain(name)}.",
            f"Repeat the session with this as required: {plain(name)}.",
        )
        return
    unplaced = [item for item in perhaps if name in item.denies]
    if unplaced:
        draft.rests_on(*unplaced)
        draft.not_shown(
            "order_unprovable",
            f"A statement denies {plain(name)}, and the clocks do not show that it is about another session.",
            "Say to which session the statement belongs.",
            "desk",
        )
        return
    if word_argument(context, "at") == _AFTER_SESSION:
        truths = {item.id: _is_after_end(window, item) for item in own}
        own = tuple(item for item in own if truths[item.id] == "true")
        if not own and "unknown" in truths.values():
            draft.not_shown(
                "order_unprovable",
                f"The clocks do not show that it was stated after the session: {plain(name)}.",
                f"State {plain(name)} again, now that the session is over.",
                "now",
            )
            return
    # Made before the session began, it names a session but cannot have seen it.
    own = tuple(item for item in own if window is None or not shown_strictly_before(item.at, window.start))
    if own:
        draft.rests_on(own[-1])
        return
    draft.not_shown(
        "missing", f"For this session nobody states: {plain(name)}.", f"State {plain(name)}.", "now"
    )


def _is_after_end(window: PartWindow | None, item: Statement) -> Truth:
    return "false" if window is None or window.end is None else happened_before(window.end, item.at)


def _judge_serving(draft: Draft, context: CheckContext, name: str, found: list[Statement]) -> None:
    of_procedure = [item for item in found if item.procedure_id in (None, context.procedure.id)]
    item, reason = serving(context, of_procedure, _stated_at, lambda one: name in one.denies)
    change = f"State {plain(name)} before the session starts."
    if item is None and reason is not None and reason.code == "conflict":
        told = f"Statements of one time contradict each other: {plain(name)}."
        draft.open(reason, told, change, "now")
        return
    if item is None:
        code = reason or not_shown("missing")
        why = "No statement" if code.code == "missing" else "No statement that was still fresh"
        told = f"{why} for this session: {plain(name)}."
        stale = "" if code.code == "missing" else why_stale(context, of_procedure, _stated_at)
        draft.open(code, f"{told} {stale}".rstrip(), change, "now")
        return
    draft.rests_on(item)
    if name in item.denies:
        draft.not_met("says_otherwise", f"The statement denies: {plain(name)}.", change, "now")


def _stated_at(item: Statement) -> Moment:
    return item.at


def _sessions_of(item: Statement) -> tuple[str, ...]:
    return item.sessions


# ------------------------------------------------------------------ results of the session


def tool_result(context: CheckContext) -> Outcome:
    """The device's result of the session, its part, and each place asked for is as required.

    Reasons: session_failed, says_otherwise, missing.
    """
    wanted = word_argument(context, "says", "completed")
    places = names_argument(context, "each_of")
    draft = begin(context, f"The device must report {plain(wanted)}")
    session = context.session
    if session is None:
        draft.not_shown("missing", "There is no session.", "Carry out the session.")
        return draft.outcome()
    draft.rests_on(session)
    part = part_name(context)
    if part is None:
        _judge_result(draft, wanted, session.result if session.ended is not None else "", "The device")
    else:
        record = part_record(session, part)
        ended = record is not None and record.ended is not None
        _judge_result(
            draft, wanted, record.result if record is not None and ended else "", f"The {part} part"
        )
    results = dict(session.results)
    for place in places:
        _judge_result(draft, wanted, results.get(place, ""), f"Place {plain(place)}")
    for place, result in session.results:
        if place not in places and result in _FAILED_RESULTS:
            _judge_result(draft, wanted, result, f"Place {plain(place)}")
    return draft.outcome()


def _judge_result(draft: Draft, wanted: str, result: str, what: str) -> None:
    again = "Find the cause, then repeat the session."
    if not result:
        draft.not_shown(
            "missing", f"{what}: no result is on record.", "Enter the result of the session.", "now"
        )
    elif result == wanted:
        draft.say(f"{what}: {plain(result)}.")
    elif result in _FAILED_RESULTS:
        draft.not_met("session_failed", f"{what}: {plain(result)}.", again)
    else:
        draft.not_met("says_otherwise", f"{what}: {plain(result)}.", again)


def session_failed(session: Session) -> bool:
    """Did the device end the session as failed or abandoned?"""
    return session.result in _FAILED_RESULTS


def function_check(context: CheckContext) -> Outcome:
    """The function showed what is asked, recorded after the session part (road: from the drive on).

    Reasons: says_otherwise, missing, order_unprovable.
    """
    function, wanted = word_argument(context, "of"), word_argument(context, "shows")
    places = names_argument(context, "each_of")
    draft = begin(context, f"After the session {function} must show: {plain(wanted)}")
    window = part_window(context)
    since = None
    if window is not None:
        since = window.start if context.proof.part == "road" else window.end
    found = [
        item for item in context.facts.function_checks if item.function.casefold() == function.casefold()
    ]
    own = perhaps_of_session(context, found, _sessions_of_check, _checked_at)
    later = [item for item in own if since is not None and happened_before(since, item.at) != "false"]
    after = [item for item in later if since is not None and happened_before(since, item.at) == "true"]
    for place in places or ("",):
        _judge_function(draft, _at_place(after, place), _at_place(later, place), (wanted, place))
    return draft.outcome()


def _sessions_of_check(item: FunctionCheck) -> tuple[str, ...]:
    return (item.session,)


def _checked_at(item: FunctionCheck) -> Moment:
    return item.at


def _at_place(found: list[FunctionCheck], place: str) -> list[FunctionCheck]:
    return [item for item in found if not place or item.place == place]


def _judge_function(
    draft: Draft, found: list[FunctionCheck], perhaps: list[FunctionCheck], asked: tuple[str, str]
) -> None:
    wanted, place = asked
    where = f" ({plain(place)})" if place else ""
    change = f"Check the function{where} after the session and record what it shows."
    last = max(found, key=lambda item: (item.at.low, item.at.high, item.received_at, item.id), default=None)
    if last is None:
        draft.not_shown(
            "missing", f"No check of the function{where} after the session is on record.", change, "car_here"
        )
        return
    draft.rests_on(last)
    rivals = possibly_last(perhaps, _checked_at)
    if {item.shows for item in rivals} - {last.shows}:
        draft.rests_on(*rivals)
        draft.not_shown(
            "order_unprovable",
            f"Checks of the function{where} differ, and the clocks do not show which was the last.",
            change,
        )
    elif last.shows == "not_working":
        draft.not_met("says_otherwise", f"The function{where} did not work.", "Find the cause and aim again.")
    elif last.shows != wanted:
        draft.not_shown("missing", f"The function{where} showed: {plain(last.shows)}.", change)
    else:
        draft.say(f"The function{where} showed: {plain(last.shows)}.")


def ignition_unbroken(context: CheckContext) -> Outcome:
    """The key was on at the event ``from`` and stayed on until ``to``. Cranking is no key-off.

    Reasons: ignition_cycled, missing, order_unprovable.
    """
    names = (word_argument(context, "from", "session_start"), word_argument(context, "to", "session_end"))
    draft = begin(context, f"The ignition must stay on from {plain(names[0])} to {plain(names[1])}")
    session = context.session
    start, end = (event_time(context, name).moment for name in names)
    if session is None or start is None or end is None:
        draft.not_shown(
            "missing", "The session has no end on record.", "Record the end of the session.", "now"
        )
        return draft.outcome()
    draft.rests_on(session)
    events = (*session.key_events, *_logged_key_events(context))
    before = [item for item in events if happened_before(item.at, start) == "true"]
    first = max(before, key=lambda item: (item.at.low, item.at.high), default=None)
    if first is None:
        draft.not_shown(
            "missing", "The key's state at the start is not on record.", "Record when the key was on.", "now"
        )
    if first is not None and first.state == "off":
        draft.not_met("ignition_cycled", "The key was off when the session began.", _NO_KEY_OFF)
    for off in events:
        if off.state == "off":
            _judge_key_off(draft, happened_before(start, off.at), happened_before(off.at, end))
    if not draft.tally.reasons:
        draft.say("The key was on at the start and no key-off lies within the session.")
    return draft.outcome()


def _judge_key_off(draft: Draft, since: Truth, until: Truth) -> None:
    if since == "true" and until == "true":
        draft.not_met("ignition_cycled", "The key was turned off during the session.", _NO_KEY_OFF)
    elif "false" not in (since, until):
        draft.not_shown(
            "order_unprovable", "The clocks do not show that a key-off lies outside the session.", _NO_KEY_OFF
        )


def _logged_key_events(context: CheckContext) -> list[KeyEvent]:
    """Key events that the session's voltage log recorded."""
    logs = of_session(
        context,
        context.facts.voltage_logs,
        lambda log: log.sessions,
        lambda log: log.clock.moment(log.samples[0][0] if log.samples else log.received_at.timestamp()),
    )
    states = {"key_on": "on", "key_off": "off"}
    return [
        KeyEvent(at=log.clock.moment(t), state="on" if states[name] == "on" else "off")
        for log in logs
        for t, name in log.events
        if name in states
    ]


# ------------------------------------------------------------------ documents


def document(context: CheckContext) -> Outcome:
    """Every name is filled in for every glass set; a name ending in _photo is a photo that shows that name.

    Reasons: missing and those of the photos.
    """
    names = names_argument(context, "names")
    draft = begin(context, f"These must be on record: {words(names)}")
    glass = live(context.facts.glass_sets)
    for name in names:
        if name.endswith("_photo"):
            judge_photos(draft, context, name, photos_showing(context.facts, name))
        elif not glass or any(not _field(item, name) for item in glass):
            draft.not_shown(
                "missing", f"The {plain(name)} is not on record.", f"Enter the {plain(name)}.", "desk"
            )
        else:
            values = ", ".join(dict.fromkeys(_field(item, name) for item in glass))
            draft.say(f"The {plain(name)} is {values}.")
    draft.rests_on(*glass)
    return draft.outcome()


def _field(item: GlassSet, name: str) -> str:
    fields = {"glass_maker": item.glass_maker, "glass_part_number": item.glass_part_number}
    return fields.get(name, "").strip()
