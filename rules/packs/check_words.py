"""What each check asks of the record and what each of its arguments means, in the words of the guide."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rules.packs.check_library import CHECKS, LAMP_STATE_WORDS, ArgumentSpec
from rules.quantities import UNITS
from rules.vocabulary import (
    EVENTS,
    FUNCTION_STATES,
    FUNCTIONS,
    LAMP_GROUPS,
    LAMPS,
    MODULE_SYSTEMS,
    OPERATION_GROUPS,
    PHOTO_SUBJECTS,
    QUANTITY_UNITS,
    ROLES,
    SCAN_STAGES,
    SENSORS,
    STATE_CHANGES,
    STATEMENTS,
)

CHECK_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "identity_agrees": "The readings of the VIN that are asked for are there and agree.",
        "operations_closed": "The list of repair operations is closed by a named person.",
        "fit_known": "Every sensor is established as fitted or not fitted.",
        "scan_present": "A scan of this stage is on record.",
        "codes_compare": "No code is left or new in the later scan.",
        "no_codes": "The scan of this stage shows no code of this module.",
        "lamp_states": "Warning lamps were seen in the states asked for.",
        "signed": "Somebody in this role has signed.",
        "people_qualified": "Who did the work was qualified for it on that day.",
        "equipment_valid": "Every instrument used was in date and in order on that day.",
        "step_list_signed": "The maker's step list is signed after the last work near a sensor.",
        "in_order": "These events happened in this order.",
        "within": "Not more than this time lies between two events.",
        "photo_set": "A usable photo of each subject is there.",
        "document": "These details of the glass are filled in.",
        "batch_in_date": "Adhesive and primer had not expired when the glass was set.",
        "adhesive_ready": "The adhesive was ready before the car moved. Never waivable.",
        "citation_given": "Somebody looked the maker's text up, and in time.",
        "statement": "A person stated each of these.",
        "tool_result": "The scan device reported completion.",
        "target_identity": "The board with this number stood there, right way up and clean.",
        "function_check": "The driver-assistance function was seen to work.",
        "ignition_unbroken": "The key was not off between two events.",
        "tyre_pressures": "Each tire has its pressure, and left and right agree.",
        "ride_heights": "The four arch heights are right, and left and right agree.",
        "thrust_angle": "The line the car travels along lies close to its body, from rear toe.",
        "floor_survey": "The floor is level and flat enough, by a survey.",
        "light_level": "Five readings of the light at the target.",
        "voltage_log": "The supply voltage stayed within its limits.",
        "drive_log": "Enough of the aiming drive counts.",
        "odometer_agrees": "The odometer agrees with the drive log: it was this car.",
        "target_pose": "The target stands where it should, from four tape readings.",
        "point_position": "A reflector stands over its point on the floor.",
        "mat_positions": "Mats lie where they are drawn, and straight.",
        "film_build": "The paint over a sensor is thin enough, the mean of its points.",
        "learned_aim": "The correction that the sensor learned is small.",
        "angle": "An angle that was read.",
        "value": "Any other value that was read.",
    }
)

# Words for an argument: of one check (check, argument), or of every check that takes it (argument).
ARGUMENT_WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "across_axle": "left against right",
        "after": "lamps afterwards, as in {camera_fault: unlit}",
        "across": "across the car, left is positive",
        "allow": 'codes that only say "not aimed yet"',
        "along": "along the car, forward is positive",
        "at": "when it is recorded",
        "bar_length": "length of the target's bar",
        "bar_tilt": "the bar against level",
        "before": "lamps before; any: recorded, in whatever state",
        "brightest_over_darkest": "brightest reading over darkest",
        "by": "the role that signs",
        "centred_on": "sideways and yaw count from this line",
        "crank_longest": "how long cranking may pull the voltage down",
        "crank_windows": "how often cranking may",
        "distance": "from the axle line",
        "each": "each tire",
        "each_centre": "how far each mat may lie from its point",
        "each_of": "places that must all be there and met",
        "each_turn": "how far each mat may be turned",
        "edition": "the edition looked up is the one under sources",
        "events": "the events in their order",
        "flatness": "largest minus smallest deviation from the plane",
        "from": "from this event or scan",
        "front": "front arches",
        "height": "above the plane the wheels stand on",
        "ignore_shorter_than": "dips shorter than this do not count",
        "items": "what must be in date",
        "limit": "the limit",
        "longest_gap": "a longer gap in the log is a gap",
        "longest_stretch": "the longest stretch without a break",
        "looked_up_within": "not longer before the session",
        "mats": "how many mats",
        "measured_from": "the floor marks measured from",
        "module": "whose codes; aimed_sensor: the one this procedure aims",
        "names": "the details asked for",
        "needs": "what must be there",
        "none_lit": "lamp groups of which none may be lit",
        "not_older_than": "age of the survey",
        "number": "the number on the back of the board",
        "of": "what is read",
        "other_than": "roles whose signer it must not be",
        "pitch": "up and down",
        "place": "where it is read; left out: the proof's id",
        "points": "how many points",
        "rear": "rear arches",
        "roll": "turned about its axis",
        "says": "what is stated or reported",
        "scale": "how far they may differ",
        "scope": "which codes count",
        "shortest_counted": "a shorter stretch does not count",
        "shows": "the state that must be seen",
        "sideways": "from the line it is centered on, left is positive",
        "slope": "of the whole floor",
        "speed": "the speed that counts",
        "speed_change": "faster changes do not count",
        "stage": "the stage of the scan",
        "sun_above": "the sun at least this high",
        "time_is": "mandatory, or indicative: only typical",
        "to": "to this event or scan",
        "total_time": "what must count in all",
        "turn_rate": "faster turns do not count",
        "ways": "by how many different ways",
        "with_photo": "with a photo that shows this",
        "yaw": "turned left or right",
        "zone": "over which sensor",
    }
)
# Where an argument means something of its own in one check.
OWN_WORDS: Final[Mapping[tuple[str, str], str]] = MappingProxyType(
    {
        ("identity_agrees", "of"): "the readings that must be there",
        ("adhesive_ready", "before"): "what it must not be later than",
        ("function_check", "of"): "the function, in quotes",
        ("lamp_states", "at"): "at the delivery of the car",
        ("statement", "at"): "made after the session",
        ("citation_given", "needs"): "the details that must be filled in",
        ("photo_set", "needs"): "the subjects of the photos",
        ("voltage_log", "limit"): "the supply voltage",
        ("within", "limit"): "the time between them",
        ("film_build", "limit"): "the paint",
        ("light_level", "limit"): "each reading",
        ("thrust_angle", "limit"): "the angle",
        ("point_position", "height"): "above the floor",
    }
)
_KINDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "limit": "a limit",
        "quantity": "an amount",
        "count": "a whole number",
        "word": "one word",
        "words": "a list of words",
        "text": "text in quotes",
        "states": "lamps with states",
        "codes": "a list of trouble codes",
    }
)
_LONG_LIST: Final = 6


def checks_table() -> str:
    """Every check with its arguments as a Markdown table, for the guide; a test keeps the two alike."""
    lines = [
        "| check | argument | what to write | must it be there? |",
        "| --- | --- | --- | --- |",
    ]
    for name, spec in CHECKS.items():
        lines.append(f"| **`{name}`** | | {CHECK_WORDS[name]} | |")
        for key, argument in spec.arguments.items():
            choices = next((keys for keys in spec.needs_one if key in keys), ())
            lines.append(f"| | `{key}` | {_written(name, key, argument)} | {_need(argument, choices)} |")
    return "\n".join(lines) + "\n"


def words_table() -> str:
    """The lists of words that packs choose from, as a Markdown table."""
    lists: dict[str, tuple[str, ...]] = {
        "sensors": SENSORS,
        "modules (beside sensors)": MODULE_SYSTEMS,
        "functions (in quotes)": FUNCTIONS,
        "states of a function": tuple(state for state in FUNCTION_STATES if state != "not_working"),
        "lamps": LAMPS,
        "states of a lamp": LAMP_STATE_WORDS,
        "groups of lamps": tuple(LAMP_GROUPS),
        "statements": STATEMENTS,
        "photo subjects": PHOTO_SUBJECTS,
        "events": EVENTS,
        "what spoils a value (`broken_by`)": STATE_CHANGES,
        "quantities for `of`": tuple(f"{name} ({unit})" for name, unit in QUANTITY_UNITS.items()),
        "stages of a scan": SCAN_STAGES,
        "roles (`waive_role`, `written_by`)": ROLES,
        "units": tuple(UNITS),
    }
    lines = ["| list | words |", "| --- | --- |"]
    lines += [f"| {name} | {', '.join(words)} |" for name, words in lists.items()]
    lines += [f"| operations: {group} | {', '.join(names)} |" for group, names in OPERATION_GROUPS.items()]
    return "\n".join(lines) + "\n"


def _written(check: str, key: str, spec: ArgumentSpec) -> str:
    unit = f" in {_units(spec)}" if spec.unit else ""
    if check in ("value", "angle") and key == "limit":
        unit = " in the unit of what is read"
    if spec.placard:
        unit += " or placard ±"
    allowed = ""
    if spec.allowed and len(spec.allowed) <= _LONG_LIST:
        allowed = ": " + ", ".join(spec.allowed)
    elif spec.allowed:
        allowed = " of the lists below"
    own = ", or an own `x.` name" if spec.own_names else ""
    words = OWN_WORDS.get((check, key), ARGUMENT_WORDS[key])
    return f"{words} ({_KINDS[spec.kind]}{unit}{allowed}{own})"


def _units(spec: ArgumentSpec) -> str:
    """Every unit that an author may write here; a bare time may be given in days too."""
    units = [name for name, unit in UNITS.items() if unit.program == spec.unit]
    if spec.unit == "s" and spec.kind == "quantity":
        units.append("days")
    return units[0] if len(units) == 1 else ", ".join(units[:-1]) + " or " + units[-1]


def _need(spec: ArgumentSpec, choices: tuple[str, ...]) -> str:
    if choices:
        return "at least one of " + ", ".join(choices)
    return "yes" if spec.required else "no"
