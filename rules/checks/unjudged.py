"""What a check comes to that this version cannot carry out, or that failed: not shown, never met."""

from rules.checks.base import CheckContext
from rules.checks.sentences import begin, plain
from rules.verdict import Outcome

# Checks that packs may name and that this version does not carry out yet.
NOT_CARRIED_OUT = (
    "value",
    "angle",
    "point_position",
    "mat_positions",
    "film_build",
    "light_level",
    "learned_aim",
    "ride_heights",
    "floor_survey",
    "target_pose",
    "thrust_angle",
)


def not_carried_out(context: CheckContext) -> Outcome:
    """Not shown, with the sentence that says why."""
    draft = begin(context, f"The pack asks for the check {plain(context.proof.check)}")
    draft.not_shown(
        "not_judged",
        "This version does not carry out that check yet, so nothing is shown by it. "
        "The readings stay on record.",
        "Judge it with a version that carries out this check.",
        "desk",
    )
    return draft.outcome()


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


def no_session(context: CheckContext) -> Outcome:
    """Not shown: the procedure has no governing session that the proof could be about."""
    draft = begin(context, f"{context.procedure.title}: {plain(context.proof.id)}")
    draft.not_shown(
        "missing",
        "No session of this procedure began after the work that calls for it.",
        f"Carry out: {context.procedure.title}.",
    )
    return draft.outcome()
