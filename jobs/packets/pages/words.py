"""The packet's plain words for codes: verdicts, reasons, states, roles, sensors, operations, checks."""

import re
from typing import Final

from rules.facts import JobFacts
from rules.verdict import Disposition, RequirementState

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
    "tyre_pressures": "Tire pressures",
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


def plain(code: str) -> str:
    """``rear_corner_radar`` and ``glass.windshield.replaced`` as words."""
    return code.replace("_", " ").replace(".", " ")


def sentence_case(text: str) -> str:
    """The first letter as a capital, the rest as it is."""
    return text[:1].upper() + text[1:]


def ended(text: str) -> str:
    """A typed text as a sentence, with one stop at its end."""
    return text if text.rstrip().endswith((".", "!", "?")) else f"{text.rstrip()}."


def role_words(role: str) -> str:
    return ROLE_WORDS.get(role, plain(role))


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


_MINUS: Final = re.compile(r"(?<![\w.,;-])-(?=\d)")


def minus_signs(text: str) -> str:
    """``learned pitch −0.1 deg``: a hyphen before a number as the minus sign it means; dates stay."""
    return _MINUS.sub("−", text)


def counted(number: int, one: str, many: str) -> str:
    """``1 item`` or ``3 items``."""
    return f"{number} {one if number == 1 else many}"
