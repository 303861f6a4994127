"""What a check comes to that this version cannot carry out, or that failed: not shown, never met."""

from rules.checks.base import CheckContext
from rules.checks.sentences import begin, plain
from rules.checks.to_do import to_do
from rules.verdict import Outcome


def failed_to_judge(context: CheckContext) -> Outcome:
    """Not shown: the check could not be brought to an end with these facts."""
    draft = begin(context, f"The pack asks for the check {plain(context.proof.check)}")
    draft.not_shown(
        "not_judged",
        f"The check {context.proof.check} could not be carried out on this record: nothing is shown by it.",
        "Report this to whoever runs the program, with the number of the job.",
        "desk",
    )
    return draft.outcome()


def unknown_check(context: CheckContext) -> Outcome:
    """Not shown: the pack names a check that this version has never heard of."""
    draft = begin(context, f"The pack asks for the check {plain(context.proof.check)}")
    draft.not_shown(
        "not_judged",
        f"This version knows no check named {context.proof.check}.",
        "Judge it with a version that knows this check.",
        "desk",
    )
    return draft.outcome()


NO_SESSION = "No session of this procedure began after the work that calls for it."


def no_session(context: CheckContext, required: str = "") -> Outcome:
    """Not shown: the procedure has no governing session that the proof could be about.

    ``required``: what the check asks for, in its own words.
    """
    draft = begin(context, required or f"{context.procedure.title}: {plain(context.proof.id)}")
    draft.not_shown("missing", NO_SESSION, to_do(context.proof.check, context.procedure.title))
    return draft.outcome()
