"""Plain words about proofs: names, which wait for a session, the turn of each in a day."""

from typing import Final

from jobs.packets.pages.words import CHECK_TITLES, proof_title
from rules.checks.unjudged import NO_SESSION
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
    ("statement", "load"): "Load, fuel and doors, stated",
    ("statement", "straight"): "Steering and suspension, stated",
    ("statement", "space"): "Space around the target, stated",
    ("statement", "unmoved"): "Nothing moved, stated",
    ("statement", "zone"): "Radar zone, stated",
    ("statement", "metal"): "No metal near, stated",
    ("document", "part"): "Glass part named",
    (REFUSAL_PROOF_ID, REFUSAL_PROOF_ID): "Refused",
    (RESULT_PROOF_ID, RESULT_PROOF_ID): "Result of the session",
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


def not_begun(finding: Finding) -> bool:
    """True where the proof waits for a session of its procedure that nobody has begun."""
    return finding.outcome.shows == NO_SESSION


def turn_of_row(check: str, proof_id: str) -> int:
    """The place of a proof in a usual day; smaller comes earlier."""
    return 0 if (check, proof_id) == ("scan_present", "before") else _TURN_OF.get(check, len(_TURN))


def turn(finding: Finding) -> int:
    return turn_of_row(finding.check, finding.proof_id)
