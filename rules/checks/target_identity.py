"""The target that was set up: its number, the right way up, clean."""

from rules.checks.base import CheckContext
from rules.checks.freshness import serving
from rules.checks.sentences import begin, word_argument
from rules.checks.targets import IDENTITY_CHECK, of_this_target
from rules.facts import Moment, TargetIdentity
from rules.verdict import Outcome, not_shown


def target_identity(context: CheckContext) -> Outcome:
    """The target that was set up is the one named, right way up and clean.

    Reasons: says_otherwise, missing, evidence_stale, conflict.
    """
    number = word_argument(context, "number")
    draft = begin(context, f"The target set up must be {number}, right way up and clean")
    found, unsure = of_this_target(context, context.facts.target_identities, IDENTITY_CHECK)
    item, reason = serving(context, () if unsure else found, _read_at, lambda one: _wrong_about(one, number))
    if unsure:
        reason = not_shown("evidence_stale")
    change = f"Read the number of target {number} at the target and record how it stands."
    if item is None:
        code = reason or not_shown("missing")
        sentence = "No reading of the target's number serves this session."
        if code.code == "conflict":
            sentence = "Two records of one time say different things of the target."
        draft.open(code, sentence, change, "now")
        return draft.outcome()
    draft.rests_on(item)
    wrong = _wrong_about(item, number)
    if wrong:
        draft.not_met("says_otherwise", f"The record says: {'; '.join(wrong)}.", change)
    else:
        draft.say(f"The number read is {item.number_read}, right way up and clean.")
    return draft.outcome()


def _read_at(item: TargetIdentity) -> Moment:
    return item.at


def _wrong_about(item: TargetIdentity, number: str) -> list[str]:
    wrong = []
    if item.number_read.strip().upper() != number.strip().upper():
        wrong.append(f"target {item.number_read}")
    if not item.right_way_up:
        wrong.append("not the right way up")
    if not item.clean:
        wrong.append("not clean")
    return wrong
