"""The packet's plain words for codes: verdicts, reasons, states, roles, sensors, operations, checks."""

from typing import Final

from rules.facts import JobFacts
from rules.verdict import Disposition, RequirementState, Verdict

VERDICT_WORDS: Final[dict[Verdict, str]] = {"met": "met", "not_met": "not met", "not_shown": "not shown"}
STATE_WORDS: Final[dict[RequirementState, str]] = {
    "required": "required",
    "not_required": "not required",
    "cannot_tell": "cannot tell",
}
GATE_WORDS: Final[dict[Disposition, str]] = {
    "none": "not judged",
    "hold": "hold",
    "release": "release",
    "release_with_waiver": "release with waiver",
    "release_with_refusal": "release with refusal",
}
STATEMENT_WORDS: Final = {
    "required": "The recorded facts call for the procedures below.",
    "nothing_required": "Nothing was required: every trigger that was looked at is false.",
    "cannot_tell": "The recorded facts do not settle what was required.",
}

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

ROLE_WORDS: Final = {
    "technician": "technician",
    "quality_reviewer": "quality reviewer",
    "release": "release",
    "location_manager": "location manager",
    "quality_manager": "quality manager",
    "operations_manager": "operations manager",
}
# The heading of each signature on page 1.
SIGNATURE_HEADS: Final = {"technician": "Work", "quality_reviewer": "Evidence", "release": "Release"}

# What each check of the packs looks at, as the name of a proof.
CHECK_TITLES: Final = {
    "identity_agrees": "Identity readings agree",
    "operations_closed": "Operation list closed",
    "fit_known": "Fitted sensors known",
    "scan_present": "Scan on record",
    "codes_compare": "Codes before and after",
    "no_codes": "No codes before aiming",
    "lamp_states": "Lamps",
    "signed": "Signature",
    "people_qualified": "People qualified",
    "equipment_valid": "Instruments in date",
    "in_order": "Order of events",
    "within": "Time between events",
    "photo_set": "Photo set",
    "document": "Parts and papers named",
    "batch_in_date": "Adhesive batch in date",
    "adhesive_ready": "Adhesive ready before driving",
    "citation_given": "Maker's text looked up",
    "step_list_signed": "Step list signed",
    "tyre_pressures": "Tyre pressures",
    "voltage_log": "Supply voltage",
    "drive_log": "Counted drive",
    "ignition_unbroken": "Key stayed on",
    "odometer_agrees": "Odometer agrees with the drive",
    "statement": "Statement",
    "tool_result": "Result of the device",
    "function_check": "Function check",
    "target_identity": "Target number",
    "target_pose": "Target position",
    "ride_heights": "Ride heights",
    "thrust_angle": "Thrust angle",
    "floor_survey": "Floor survey",
    "light_level": "Light",
    "learned_aim": "Learned aim",
    "film_build": "Paint thickness",
    "mat_positions": "Mat positions",
    "point_position": "Position of a point",
    "angle": "Angle",
    "value": "Measured value",
}

SETTLE_WORDS: Final = {
    "now": "could still be settled while set up",
    "car_here": "could still be settled with the car here",
    "desk": "could still be settled from the desk",
    "never": "cannot be repaired",
}


def plain(code: str) -> str:
    """``rear_corner_radar`` and ``glass.windshield.replaced`` as words."""
    return code.replace("_", " ").replace(".", " ")


def sentence_case(text: str) -> str:
    """The first letter as a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def reason_words(code: str) -> str:
    return REASON_WORDS.get(code, plain(code))


def role_words(role: str) -> str:
    return ROLE_WORDS.get(role, plain(role))


def settle_words(settle: str) -> str:
    return SETTLE_WORDS.get(settle, "")


def person_name(facts: JobFacts, login: str) -> str:
    """The name on file for a login; the login itself where none is."""
    return next((person.name for person in facts.people if person.login == login), login)


def joined(parts: list[str]) -> str:
    """``a, b and c``; empty text for no part."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def proof_title(check: str, proof_id: str) -> str:
    """``Supply voltage (volts)``: what the check looks at, and the proof's own id."""
    return f"{CHECK_TITLES.get(check, sentence_case(plain(check)))} ({plain(proof_id)})"


def counted(number: int, one: str, many: str) -> str:
    """``1 item`` or ``3 items``."""
    return f"{number} {one if number == 1 else many}"
