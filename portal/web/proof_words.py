"""Plain words about proofs: names, what to do for one that has no session yet, its turn in a day."""

from typing import Final

from jobs.packets.pages.words import CHECK_TITLES, proof_title
from rules.judging import REFUSAL_PROOF_ID, RESULT_PROOF_ID
from rules.verdict import Finding

# Checks that stand more than once in a record: the proof tells which is meant.
_OWN_TITLES: Final = {
    ("scan_present", "before"): "Scan before the repair",
    ("scan_present", "final"): "Final scan",
    ("signed", "sign"): "Technician's signature",
    ("signed", "second"): "Second signature",
    ("lamp_states", "lamps"): "Warning lamps",
    ("lamp_states", "lane"): "Lane symbol",
    ("statement", "road"): "Road and weather, stated",
    ("document", "part"): "Glass part named",
    (REFUSAL_PROOF_ID, REFUSAL_PROOF_ID): "Refused",
    (RESULT_PROOF_ID, RESULT_PROOF_ID): "Result of the session",
}

# What a proof of a procedure that nobody has begun asks of the person at the car.
_TO_DO: Final = {
    "citation_given": "Look up the maker's text: document, edition and section.",
    "tyre_pressures": "Read all four with a gauge in date, before the session starts.",
    "ride_heights": "Measure the four heights before the session starts.",
    "thrust_angle": "Measure the thrust angle before the session starts.",
    "floor_survey": "Choose a bay whose floor survey is in date.",
    "light_level": "Measure the light in the bay.",
    "voltage_log": "Run the logger from before key on to the end; add its file.",
    "no_codes": "Scan all modules just before the session.",
    "drive_log": "Log the drive; add its file. Nobody touches the device on the way.",
    "ignition_unbroken": "Leave the key on from the start of the session to its end.",
    "odometer_agrees": "Record the odometer before the drive and after it.",
    "statement": "State the conditions of this session.",
    "tool_result": "End the session with what the device reports.",
    "lamp_states": "Record the lamp before the session and after it.",
    "function_check": "Check the function once the session has ended.",
    "target_identity": "Record the number on the back of the target.",
    "target_pose": "Read the four distances to the target.",
    "mat_positions": "Measure where each mat lies.",
    "point_position": "Measure where the point lies.",
    "film_build": "Measure the paint at every point asked for.",
    "learned_aim": "Record what the module learned.",
    "angle": "Measure the angle.",
    "value": "Record the measured value.",
    "photo_set": "Take the photos while the set-up stands.",
    "in_order": "Follows from the times of the steps.",
    "within": "Follows from the times of the steps.",
}

# The usual order of a working day, so that the next thing to do is not its last one.
_TURN: Final = (
    ("operations_closed", "fit_known", "document", "batch_in_date"),
    ("citation_given",),
    ("floor_survey", "tyre_pressures", "ride_heights", "thrust_angle", "light_level", "film_build", "angle"),
    ("value", "target_identity", "target_pose", "mat_positions", "point_position"),
    ("no_codes",),
    ("statement", "voltage_log"),
    ("adhesive_ready",),
    ("drive_log", "ignition_unbroken", "odometer_agrees", "tool_result", "learned_aim", "function_check"),
    ("lamp_states",),
    ("scan_present", "codes_compare", "identity_agrees", "photo_set"),
    ("in_order", "within", "people_qualified", "equipment_valid", "step_list_signed"),
    ("signed",),
)
_TURN_OF: Final = {check: place for place, checks in enumerate(_TURN) for check in checks}


def title_of_row(check: str, proof_id: str) -> str:
    """The name of a proof: what is looked at, not which procedure asks for it."""
    own = _OWN_TITLES.get((check, proof_id))
    return own or CHECK_TITLES.get(check) or proof_title(check, proof_id)


def title_of(finding: Finding) -> str:
    return title_of_row(finding.check, finding.proof_id)


def _is_not_begun(procedure: str, change: str) -> bool:
    return change == f"Carry out: {procedure}."


def not_begun(finding: Finding) -> bool:
    """True where the proof waits for a session of its procedure that nobody has begun."""
    return _is_not_begun(finding.title, finding.outcome.change)


def to_do_of_row(check: str, procedure: str, change: str) -> str:
    """One line: what would change the verdict, in words for the person who can do it."""
    return _TO_DO.get(check, change) if _is_not_begun(procedure, change) else change


def to_do(finding: Finding) -> str:
    return to_do_of_row(finding.check, finding.title, finding.outcome.change)


def turn_of_row(check: str, proof_id: str) -> int:
    """The place of a proof in a usual day; smaller comes earlier."""
    return 0 if (check, proof_id) == ("scan_present", "before") else _TURN_OF.get(check, len(_TURN))


def turn(finding: Finding) -> int:
    return turn_of_row(finding.check, finding.proof_id)
