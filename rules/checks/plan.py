"""Checks on the plan of a job: operation list, fitted systems, the maker's text and its steps."""

from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft
from rules.checks.freshness import place_of
from rules.checks.sentences import begin, clock_text, names_argument, plain, word_argument, words
from rules.decisions import person_named
from rules.facts import Moment, Statement, TextLookup, live
from rules.fitment import open_sensors
from rules.packs.model import Source
from rules.science.clocks import fresh, happened_before, latest, possibly_last
from rules.verdict import Outcome, Settle
from rules.vocabulary import SENSORS, plain_sensor
from rules.work_list import governing_closing, operations_list_closed, unmapped_lines

# The statement, made for the procedure, that its steps were followed one by one.
STEPS_FOLLOWED: Final = "all_steps_followed"


def operations_closed(context: CheckContext) -> Outcome:
    """The operation list is closed. Reason: operations_open."""
    draft = begin(context, "The list of repair operations must be closed, with no estimate line unmapped")
    closing = governing_closing(context.facts)
    if operations_list_closed(context.facts) and closing is not None:
        draft.rests_on(closing)
        person = person_named(context.facts, closing.by)
        name = closing.by if person is None else person.name
        draft.say(f"{name} closed it {clock_text(context.facts.place, closing.at)}.")
        return draft.outcome()
    unmapped = unmapped_lines(context.facts)
    why = "Nobody has closed the list as it now stands."
    if unmapped:
        lines = ", ".join(str(line.line_no) for line in unmapped)
        why = f"Of the estimate no operation is named for line {lines}."
    draft.not_shown(
        "operations_open", why, "Match every estimate line, enter what was done, and close the list.", "desk"
    )
    return draft.outcome()


def fit_known(context: CheckContext) -> Outcome:
    """Every sensor has a final yes or no by at least ``ways`` different ways. Reason: fit_unknown."""
    ways = context.proof.arguments.get("ways", 2)
    if not isinstance(ways, int | float):
        raise TypeError("ways is no count")
    draft = begin(context, f"Of every sensor it must be established by {ways:g} ways whether it is fitted")
    unknown = open_sensors(context.facts, int(ways))
    draft.rests_on(*live(context.facts.fitted_ways))
    if unknown:
        names = ", ".join(plain_sensor(sensor) for sensor in unknown)
        draft.not_shown(
            "fit_unknown",
            f"Not established: {names}.",
            "Look at the car, the build data and the scan's module list, and record two of them per sensor.",
        )
    else:
        draft.say(f"All {len(SENSORS)} sensors are established by {ways:g} ways.")
    return draft.outcome()


# ------------------------------------------------------------------ the maker's text


def citation_given(context: CheckContext) -> Outcome:
    """The maker's text was looked up for the procedure, recently enough, and it is the edition of the pack.

    Reasons: citation_missing (with pack_no_coverage where no maker's pack speaks), evidence_stale, conflict,
    order_unprovable.
    """
    needs = names_argument(context, "needs")
    draft = begin(context, f"The maker's text must be looked up, with {words(needs)}")
    limit = Moment.exact(context.gate_at) if context.session is None else context.session.started
    found = [item for item in live(context.facts.lookups) if item.procedure_id == context.procedure.id]
    before = [item for item in found if happened_before(_looked_up(item), limit) == "true"]
    last = max(before, key=_order, default=None)
    if last is None:
        _without_lookup(draft, context, found, limit)
        return draft.outcome()
    draft.rests_on(last)
    empty = [name for name in needs if not _field(last, name)]
    if empty:
        draft.not_shown("citation_missing", f"Left empty: {words(empty)}.", "Fill in what is empty.", "desk")
        _note_coverage(draft, context)
    _judge_age(draft, context, last, limit)
    _judge_edition(draft, context, last)
    _judge_rivals(draft, context, last, [item for item in found if _may_precede(item, limit)])
    if not draft.tally.reasons:
        at = clock_text(place_of(context), _looked_up(last))
        draft.say(f"{last.document_number}, edition {last.edition}, {last.section}, looked up {at}.")
    return draft.outcome()


def _may_precede(item: TextLookup, limit: Moment) -> bool:
    return happened_before(_looked_up(item), limit) != "false"


def _judge_rivals(draft: Draft, context: CheckContext, last: TextLookup, possible: list[TextLookup]) -> None:
    """Another lookup that may have been the last one, of another text, leaves open which text was used."""
    rivals = [item for item in possibly_last(possible, _looked_up) if _text_of(item) != _text_of(last)]
    if rivals:
        draft.rests_on(*rivals)
        draft.not_shown(
            "order_unprovable",
            "Another text was looked up, and the clocks do not show which lookup was the last before the "
            "session.",
            "Compare the device's clock with the server's, or look the text up again.",
            "desk",
        )


def _text_of(item: TextLookup) -> tuple[str, str, str]:
    return item.document_number.strip(), item.edition.strip(), item.section.strip()


def _looked_up(item: TextLookup) -> Moment:
    return item.retrieved_at or Moment.exact(item.received_at)


def _order(item: TextLookup) -> tuple[object, ...]:
    at = _looked_up(item)
    return (at.low, at.high, item.received_at, item.id)


def _without_lookup(draft: Draft, context: CheckContext, found: list[TextLookup], limit: Moment) -> None:
    begun = context.session is not None
    change = "Look up the maker's text and record document, edition and section" + (
        ", then repeat the session: it has to be known before the work." if begun else " before the session."
    )
    settle: Settle = "car_here" if begun else "desk"
    if any(happened_before(_looked_up(item), limit) == "unknown" for item in found):
        draft.not_shown(
            "order_unprovable",
            "The clocks do not show that the text was looked up before the session.",
            "Compare the device's clock with the server's; where that does not show it, repeat the session.",
            "desk",
        )
        return
    draft.not_shown("citation_missing", "No lookup before the session is on record.", change, settle)
    _note_coverage(draft, context)


def _note_coverage(draft: Draft, context: CheckContext) -> None:
    if not context.current.edition.is_maker:
        draft.not_shown(
            "pack_no_coverage",
            "No maker's pack speaks for it.",
            "Ask the pack author for a pack of this maker.",
            "desk",
        )


def _field(item: TextLookup, name: str) -> str:
    values = {
        "document_number": item.document_number,
        "edition": item.edition,
        "section": item.section,
        "retrieved_at": "" if item.retrieved_at is None else "given",
        "retrieved_by": item.retrieved_by,
    }
    return values.get(name, "").strip()


def _judge_age(draft: Draft, context: CheckContext, item: TextLookup, limit: Moment) -> None:
    within_s = context.proof.arguments.get("looked_up_within")
    if within_s is None:
        return
    if not isinstance(within_s, int | float):
        raise TypeError("looked_up_within is no duration")
    if fresh(_looked_up(item), limit, float(within_s)) != "true":
        draft.not_shown(
            "evidence_stale",
            f"The text was looked up {clock_text(place_of(context), _looked_up(item))}: it is not shown that "
            f"this is within the {within_s / 86400:g} days before.",
            "Look the text up again, then repeat the session."
            if context.session is not None
            else "Look the text up again.",
            "car_here" if context.session is not None else "desk",
        )


def _judge_edition(draft: Draft, context: CheckContext, item: TextLookup) -> None:
    if word_argument(context, "edition") != "same_as_pack":
        return
    source = context.procedure.cite.source
    if not _same_text(item, source):
        draft.not_shown(
            "conflict",
            f"Looked up was {item.document_number}, edition {item.edition}; "
            f"the pack is written from {source.document}, edition {source.edition}.",
            "Tell the pack's author; the maker's text of the day applies.",
            "desk",
        )


def _same_text(item: TextLookup, source: Source) -> bool:
    return item.document_number.strip() == source.document and item.edition.strip() == source.edition


# ------------------------------------------------------------------ steps signed


def step_list_signed(context: CheckContext) -> Outcome:
    """The steps of the procedure are signed as followed, after the last operation.

    An earlier signature does not count. Reasons: says_otherwise, not_signed, order_unprovable.
    """
    draft = begin(context, "The maker's steps must be signed one by one after the last operation")
    found = [
        item
        for item in live(context.facts.statements)
        if item.procedure_id == context.procedure.id
        and (STEPS_FOLLOWED in item.says or STEPS_FOLLOWED in item.denies)
    ]
    last = max(found, key=lambda item: (item.at.low, item.at.high, item.received_at, item.id), default=None)
    change = "Sign the maker's list of steps."
    if last is None:
        draft.not_shown("not_signed", f"Nobody states: {plain(STEPS_FOLLOWED)}.", change)
        return draft.outcome()
    draft.rests_on(last)
    rivals = possibly_last(found, _signed_at)
    if len({STEPS_FOLLOWED in item.denies for item in rivals}) > 1:
        draft.rests_on(*rivals)
        draft.not_shown(
            "order_unprovable", "It is not shown which signature of the steps is the last.", change
        )
        return draft.outcome()
    if STEPS_FOLLOWED in last.denies:
        draft.not_met(
            "says_otherwise", "The list of steps is marked as not followed.", "Follow the steps, sign."
        )
        return draft.outcome()
    ends = [item.done or item.started for item in live(context.facts.operations)]
    work = latest(end for end in ends if end is not None)
    truth = "true" if work is None else happened_before(work, last.at)
    if truth == "false":
        draft.not_shown("not_signed", "The steps were signed before the last operation.", change)
    elif truth == "unknown":
        draft.not_shown("order_unprovable", "It is not shown that they were signed after the work.", change)
    else:
        draft.say(f"The steps were signed as followed {clock_text(place_of(context), last.at)}.")
    return draft.outcome()


def _signed_at(item: Statement) -> Moment:
    return item.at
