"""What each reason code means: in a few words, and as the sentence why it leads to the verdict."""

from collections.abc import Iterable
from typing import Final

REASON_WORDS: Final = {
    "identity_conflict": "two readings of the identity differ",
    "outside_limit": "outside the limit",
    "too_short": "too short",
    "order_broken": "done in another order than asked for",
    "code_remaining": "a trouble code remained",
    "lamp_wrong": "a lamp showed another state than asked for",
    "log_conflict": "two logs of the same thing do not agree",
    "ignition_cycled": "the key was turned off on the way",
    "session_failed": "the session failed or was abandoned",
    "adhesive_early": "the car moved before the adhesive was ready",
    "adhesive_expired": "the batch was past its date",
    "instrument_overdue": "an instrument was past its calibration date",
    "instrument_suspended": "an instrument was suspended",
    "reuse_exact": "the same file was used for another job",
    "person_not_qualified": "the person's qualification had expired or was revoked",
    "same_person": "the reviewer is the person who did the work",
    "says_otherwise": "the record says otherwise",
    "refused": "refused by the owner's side",
    "code_new": "a new trouble code",
    "module_silent": "a module did not answer",
    "adhesive_no_value": "the adhesive maker's table gives no time for this climate",
    "reuse_alike": "a picture looks like one of another job",
    "missing": "missing",
    "unreadable": "unreadable",
    "undecided": "cannot be told apart from a value on the other side of the limit",
    "uncertainty_unknown": "the uncertainty of the reading is not known",
    "instrument_not_capable": "the instrument cannot show this limit to be kept",
    "instrument_no_certificate": "no certificate of the instrument for that day",
    "instrument_range": "outside the calibrated range of the instrument",
    "gap_could_hide": "a gap in the log may hide what is asked for",
    "time_order": "times in the log run backwards",
    "order_unprovable": "the clocks leave the order open",
    "outside_window": "taken outside the time it had to be taken in",
    "far_from_shop": "taken far from the shop",
    "evidence_stale": "too old, or something changed after it was taken",
    "survey_old": "the survey is too old",
    "readings_disagree": "the readings disagree with each other",
    "no_redundancy": "too few readings to check each other",
    "conflict": "two sources that should agree do not",
    "identity_unproven": "an identity reading is missing or unreadable",
    "fit_unknown": "not known whether the sensor is fitted",
    "operations_open": "the list of repair operations is not closed",
    "pack_no_coverage": "no pack speaks for this",
    "citation_missing": "the maker's text was not named",
    "not_signed": "not signed",
    "sign_off_stale": "signed, and something changed afterwards",
    "not_judged": "not judged: this version cannot carry out the check, or could not finish it",
}

# General sentences; a check that can say it with its own numbers does, and these stand in where it does not.
_WHY: Final = {
    "identity_conflict": "Two different numbers cannot both be of this car.",
    "outside_limit": "A value outside its limit, by more than the uncertainty of the reading, is not met.",
    "too_short": "Even if everything uncertain counted, it would not be enough.",
    "order_broken": "The order is part of what was required, and it was another one.",
    "code_remaining": "A code that should have gone is still there.",
    "lamp_wrong": "The lamp showed another state than the one required.",
    "log_conflict": "Two records of one drive that contradict each other cannot both be true.",
    "ignition_cycled": "Turning the key off ends a session: what came after it is another one.",
    "session_failed": "The device itself reported that it did not complete.",
    "adhesive_early": "The car was driven before the adhesive could have been ready by any reading.",
    "adhesive_expired": "Material past its date must not be used, whatever it looks like.",
    "instrument_overdue": "Past its due date nothing vouches for what the instrument showed.",
    "instrument_suspended": "An instrument out of service vouches for nothing it showed.",
    "reuse_exact": "One file cannot be evidence of two cars.",
    "person_not_qualified": "The qualification did not cover that day.",
    "same_person": "Nobody reviews their own work.",
    "says_otherwise": "The record itself says the opposite of what was required.",
    "refused": "What was refused was not done.",
    "code_new": "A code that was not there before may come from the work.",
    "module_silent": "A silent module may hold a code nobody saw.",
    "adhesive_no_value": "Without a value in the data sheet nobody knows when the car may be driven.",
    "reuse_alike": "Until a person has compared the two pictures, this one shows nothing about this car.",
    "missing": "What is not on record shows nothing.",
    "unreadable": "What cannot be read shows nothing.",
    "undecided": "So close to the limit the reading cannot be told apart from one beyond it.",
    "uncertainty_unknown": "A reading without a known uncertainty cannot show that a limit was kept.",
    "instrument_not_capable": "Its uncertainty is larger than the limit allows, whatever it reads.",
    "instrument_no_certificate": "Without a certificate nothing vouches for what it showed that day.",
    "instrument_range": "Where the instrument was not calibrated nothing vouches for what it showed.",
    "gap_could_hide": "What happened in the gap could decide it either way.",
    "time_order": "From times that run backwards nothing can be computed.",
    "order_unprovable": "The clocks leave open what came first.",
    "outside_window": "A picture or reading of another time may show another state of the car.",
    "far_from_shop": "Taken elsewhere, it may not show this car as it stood here.",
    "evidence_stale": "It was too old, or something happened to the car since: the value may have changed.",
    "survey_old": "A floor may have moved since its survey.",
    "readings_disagree": "Readings that contradict each other show that one of them is wrong, not which.",
    "no_redundancy": "Too few readings cannot check each other, so a wrong one would not be noticed.",
    "conflict": "Of two sources that should agree and do not, at least one is wrong.",
    "identity_unproven": "Without that reading it is not shown that the record is of this car.",
    "fit_unknown": "As long as nobody knows what is fitted, nobody knows what is required.",
    "operations_open": "As long as the list can grow, nobody knows what is required.",
    "pack_no_coverage": "No maker's pack on file says what this car asks for.",
    "citation_missing": "Without the maker's text nothing shows what the work was held against.",
    "not_signed": "Nobody has put their name to it.",
    "sign_off_stale": "The signature does not cover what came after it.",
    "not_judged": "What was not judged shows nothing.",
}
MET_WHY: Final = "That is what was required, so it is met."


def reason_words(code: str) -> str:
    """A few words; a code without any is shown as it is."""
    return REASON_WORDS.get(code, code.replace("_", " "))


def why_of(reasons: Iterable[str]) -> str:
    """The general sentences of these reason codes, in their order; for none of them: why it is met."""
    codes = tuple(reasons)
    if not codes:
        return MET_WHY
    return " ".join(_WHY.get(code, f"{reason_words(code).capitalize()}.") for code in codes)
