"""The parts of a pack in the words of a sentence: limits, arguments, conditions, proofs, procedures."""

import re
from collections.abc import Callable, Mapping
from typing import Final

from rules.packs.check_library import CHECKS
from rules.packs.model import Argument, Condition, Procedure, Proof, Trigger
from rules.quantities import Limit
from rules.vocabulary import plain_operation, plain_sensor

_BETWEEN = re.compile(r"between[ ]+(.+?)[ ]+and[ ]+(.+)")
_TIMES: Final = ((86_400.0, "days"), (3_600.0, "h"), (60.0, "min"))
# What each check is about, as a manager says it.
CHECK_NAMES: Final[Mapping[str, str]] = {
    "identity_agrees": "Identity of the vehicle",
    "operations_closed": "List of repair operations closed",
    "fit_known": "Fitted systems established",
    "scan_present": "Scan",
    "codes_compare": "Comparison of codes",
    "no_codes": "No codes",
    "lamp_states": "Warning lamps",
    "signed": "Signature",
    "people_qualified": "Qualification of people",
    "equipment_valid": "Instruments in date",
    "step_list_signed": "Signed list of steps",
    "in_order": "Order of events",
    "within": "Time between events",
    "photo_set": "Photos",
    "document": "Documents of the glass",
    "batch_in_date": "Adhesive and primer in date",
    "adhesive_ready": "Adhesive ready",
    "citation_given": "Maker's text looked up",
    "statement": "Statement",
    "tool_result": "Result of the scan device",
    "target_identity": "Number of the target",
    "function_check": "Function check",
    "ignition_unbroken": "Ignition unbroken",
    "tyre_pressures": "Tire pressures",
    "ride_heights": "Ride heights",
    "thrust_angle": "Thrust angle",
    "floor_survey": "Floor survey",
    "light_level": "Light",
    "voltage_log": "Supply voltage",
    "drive_log": "Drive",
    "odometer_agrees": "Odometer",
    "target_pose": "Target position",
    "point_position": "Position of a point",
    "mat_positions": "Mats",
    "film_build": "Film build",
    "learned_aim": "Learned aim",
    "angle": "Angle",
    "value": "Value",
    "any_of": "One of several ways",
}
_PHOTOS: Final[Mapping[str, str]] = {
    "camera_window_outside": "camera window, photo from outside",
    "vehicle_front_with_slip": "front of the vehicle with the slip, photo",
    "safety_mark_photo": "safety mark of the glass, photo",
}


def words_of(name: str) -> str:
    """``wide_bay`` as ``wide bay``; the program's spelling of tires is not the reader's."""
    return name.replace("_", " ").replace("tyre", "tire")


def listed(names: object) -> str:
    """``a, b and c``, each in words; nothing: ``nothing``."""
    words = [words_of(str(name)) for name in names] if isinstance(names, tuple | list) else [str(names)]
    if not words:
        return "nothing"
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def limit_words(limit: Limit) -> str:
    """As the pack writes it, a range from to: ``12.0 V to 15.0 V``."""
    text = " ".join(limit.text.split())
    found = _BETWEEN.fullmatch(text)
    return f"{found[1]} to {found[2]}" if found else text


def seconds_words(seconds: float) -> str:
    """``4 h``, ``30 min``, ``90 s``: the largest unit of which it is a whole number."""
    for size, unit in _TIMES:
        if seconds >= size and seconds % size == 0:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:g} s"


def argument_words(check: str, key: str, value: Argument | None) -> str:
    """One argument's value; ``not stated`` where there is none."""
    spec = CHECKS[check].arguments.get(key) if check in CHECKS else None
    unit = spec.unit if spec is not None else ""
    if value is None:
        return "not stated"
    if isinstance(value, Limit):
        return limit_words(value)
    if isinstance(value, tuple):
        return listed(tuple(": ".join(item) if isinstance(item, tuple) else item for item in value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return seconds_words(float(value)) if unit == "s" else f"{value:g} {unit}".strip()
    return words_of(value)


def proof_subject(proof: Proof) -> str:
    """What a proof is about: ``Supply voltage``, ``Statement (space)``."""
    name = CHECK_NAMES.get(proof.check, words_of(proof.check).capitalize())
    if proof.check in ("value", "angle"):
        return words_of(str(proof.arguments.get("of", name))).capitalize() + f" ({proof.id})"
    plain = proof.check in ("voltage_log", "drive_log", "target_pose", "tyre_pressures", "ride_heights")
    return name if plain else f"{name} ({words_of(proof.id)})"


def proof_quoted(proof: Proof) -> str:
    """A whole proof in quotes: ``"camera window, photo from outside"``, ``"Film build: at most 180 um"``."""
    needs = proof.arguments.get("needs")
    if proof.check == "photo_set" and isinstance(needs, tuple):
        return (
            '"' + "; ".join(_PHOTOS.get(str(name), f"{words_of(str(name))}, photo") for name in needs) + '"'
        )
    told = [argument_words(proof.check, key, value) for key, value in proof.arguments.items()]
    return f'"{proof_subject(proof)}' + (": " + "; ".join(told) if told else "") + '"'


def procedure_subject(procedure: Procedure) -> str:
    """The title without the model in brackets behind it."""
    return procedure.title.split(" (")[0] or procedure.id


def trigger_subject(trigger: Trigger) -> str:
    """What the trigger asks for: the part of its sentence behind the last colon."""
    return f'Trigger "{trigger.plain.rsplit(": ", 1)[-1]}"'


_NAMED: Final[Mapping[str, tuple[str, Callable[[str], str]]]] = {
    "operation": ("", plain_operation),
    "fitted": ("fitted: ", plain_sensor),
    "touched": ("touched: ", plain_sensor),
    "model": ("model ", str),
}


def condition_words(condition: Condition) -> str:
    """One condition in words, its parts in brackets."""
    if condition.kind in ("all", "any", "none"):
        joined = {"all": " and ", "any": " or ", "none": " or "}[condition.kind].join(
            condition_words(part) for part in condition.parts
        )
        return f"none of ({joined})" if condition.kind == "none" else f"({joined})"
    return leaf_words(condition, condition.names)


def leaf_words(condition: Condition, names: tuple[str, ...]) -> str:
    """A condition without parts, for some of its names."""
    kind = condition.kind
    if kind in _NAMED:
        begin, plain = _NAMED[kind]
        return begin + ", ".join(plain(name) for name in names)
    if kind == "code_seen":
        return f"code {', '.join(names)} seen in the {plain_sensor(condition.module)}"
    if kind == "year" and condition.years is not None:
        return f"model year {condition.years[0]} to {condition.years[1]}"
    if kind == "built" and condition.built is not None:
        return f"built from {condition.built[0] or 'any day'} to {condition.built[1] or 'any day'}"
    fixed = {"always": "on every job", "no_maker_pack": "no maker pack"}
    return fixed.get(kind, words_of(kind))
