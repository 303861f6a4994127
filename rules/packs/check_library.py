"""The library of checks as a pack author sees it: which arguments each takes, in which unit."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from rules.packs.model import Proof
from rules.vocabulary import (
    EVENTS,
    FUNCTION_STATES,
    FUNCTIONS,
    LAMP_GROUPS,
    LAMP_STATES,
    LAMPS,
    MODULE_SYSTEMS,
    PHOTO_SUBJECTS,
    QUANTITY_UNITS,
    SCAN_STAGES,
    SENSORS,
    SIGN_OFF_ROLES,
    STATEMENTS,
)

Kind = Literal["limit", "quantity", "count", "word", "words", "text", "states", "codes"]
# How a stronger pack's value must lie against a maker's for the rule to be tighter.
Tightens = Literal["inside", "smaller", "larger", "same", "more", "fewer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ArgumentSpec:
    """One argument of a check.

    Attributes:
        kind: limit, bare quantity, count, one word, list of words, free text, lamp states, or trouble codes.
        unit: the program's unit of a limit or quantity; empty: that of the quantity named under ``of``.
        allowed: the words that may stand here; empty takes any plain name.
        own_names: names under the own-name prefix may stand here too.
        open_when_absent: leaving the argument out is the strict case, so adding it loosens, or it asks for
            something else.
    """

    kind: Kind
    unit: str = ""
    allowed: tuple[str, ...] = ()
    required: bool = False
    placard: bool = False
    own_names: bool = False
    tightens: Tightens = "same"
    open_when_absent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSpec:
    """``needs_one``: of each of these sets, at least one argument must be there."""

    arguments: Mapping[str, ArgumentSpec]
    needs_one: tuple[tuple[str, ...], ...] = ()


def _limit(unit: str, *, required: bool = True, placard: bool = False) -> ArgumentSpec:
    return ArgumentSpec(kind="limit", unit=unit, required=required, placard=placard, tightens="inside")


def _most(unit: str, *, required: bool = False, open_when_absent: bool = False) -> ArgumentSpec:
    return ArgumentSpec(
        kind="quantity",
        unit=unit,
        required=required,
        tightens="smaller",
        open_when_absent=open_when_absent,
    )


def _word(*allowed: str, required: bool = True) -> ArgumentSpec:
    return ArgumentSpec(kind="word", allowed=allowed, required=required)


def _moved_to(word: str) -> ArgumentSpec:
    """A word that turns a proof to another moment or another line: adding it is no tightening."""
    return ArgumentSpec(kind="word", allowed=(word,), open_when_absent=True)


def _words(*allowed: str, required: bool = True, own_names: bool = False) -> ArgumentSpec:
    return ArgumentSpec(
        kind="words", allowed=allowed, required=required, own_names=own_names, tightens="more"
    )


def _count(*, required: bool = True, tightens: Tightens = "same") -> ArgumentSpec:
    return ArgumentSpec(kind="count", required=required, tightens=tightens)


_PLACES: Final = ArgumentSpec(kind="words", tightens="more")
# Naming a place where none was named, or several in place of one, asks for something else.
_PLACE: Final = ArgumentSpec(kind="word", open_when_absent=True)
_OTHER_PLACES: Final = ArgumentSpec(kind="words", tightens="more", open_when_absent=True)
_STATES: Final = ArgumentSpec(kind="states", allowed=LAMPS, tightens="more")
_ANGLES: Final = tuple(name for name, unit in QUANTITY_UNITS.items() if unit == "deg")
LAMP_STATE_WORDS: Final = (*(state for state in LAMP_STATES if state != "not_seen"), "any")
LOOKUP_FIELDS: Final = ("document_number", "edition", "section", "retrieved_at", "retrieved_by")
DATUM_MARKS: Final = ("front_axle_marks", "rear_axle_marks")
# A proof of this kind may not be put into a pack's words to be waived: the drive-away time protects lives.
NEVER_WAIVABLE: Final = ("adhesive_ready",)

# Values that the vehicle or the scan device shows: the maker states the limit for the shown value.
SHOWN_BY_VEHICLE: Final = (
    "learned_yaw",
    "learned_pitch",
    "learned_roll",
    "steering_angle",
    "parking_reading",
    "odometer",
)
_PLAIN_CHECKS: Final = ("within", "drive_log", "odometer_agrees", "learned_aim")
_PLAIN_LIMITS: Final = (("light_level", "brightest_over_darkest"),)


def is_plain(proof: Proof, argument: str) -> bool:
    """True if this limit is compared plainly: times, ratios, and values that the vehicle shows."""
    if proof.check in _PLAIN_CHECKS or (proof.check, argument) in _PLAIN_LIMITS:
        return True
    return proof.check in ("value", "angle") and proof.arguments.get("of") in SHOWN_BY_VEHICLE


CHECKS: Final[Mapping[str, CheckSpec]] = {
    "identity_agrees": CheckSpec(
        arguments={"of": _words("typed", "vin_plate_photo", "vin_label_photo", "before_scan", "final_scan")}
    ),
    "operations_closed": CheckSpec(arguments={}),
    "fit_known": CheckSpec(arguments={"ways": _count(tightens="larger")}),
    "scan_present": CheckSpec(arguments={"stage": _word(*SCAN_STAGES)}),
    "codes_compare": CheckSpec(
        arguments={"from": _word(*SCAN_STAGES), "to": _word(*SCAN_STAGES), "scope": _word("touched")}
    ),
    "no_codes": CheckSpec(
        arguments={
            "module": _word("aimed_sensor", *SENSORS, *MODULE_SYSTEMS),
            "stage": _word(*SCAN_STAGES),
            "allow": ArgumentSpec(kind="codes", tightens="fewer", open_when_absent=True),
        }
    ),
    "lamp_states": CheckSpec(
        arguments={
            "before": _STATES,
            "after": _STATES,
            "at": _moved_to("delivery"),
            "none_lit": _words(*LAMP_GROUPS, required=False),
        },
        needs_one=(("before", "after", "none_lit"),),
    ),
    "signed": CheckSpec(
        arguments={"by": _word(*SIGN_OFF_ROLES), "other_than": _words(*SIGN_OFF_ROLES, required=False)}
    ),
    "people_qualified": CheckSpec(arguments={}),
    "equipment_valid": CheckSpec(arguments={}),
    "step_list_signed": CheckSpec(arguments={}),
    "in_order": CheckSpec(arguments={"events": _words(*EVENTS)}),
    "within": CheckSpec(arguments={"from": _word(*EVENTS), "to": _word(*EVENTS), "limit": _limit("s")}),
    "photo_set": CheckSpec(arguments={"needs": _words(*PHOTO_SUBJECTS, own_names=True)}),
    "document": CheckSpec(
        arguments={"names": _words("glass_part_number", "glass_maker", "safety_mark_photo", own_names=True)}
    ),
    "batch_in_date": CheckSpec(arguments={"items": _words("adhesive", "primer")}),
    "adhesive_ready": CheckSpec(arguments={"before": _words("any_road_drive", "release", "delivery")}),
    "citation_given": CheckSpec(
        arguments={
            "needs": _words(*LOOKUP_FIELDS),
            "looked_up_within": _most("s"),
            "edition": _word("same_as_pack", required=False),
        }
    ),
    "statement": CheckSpec(
        arguments={
            "says": _words(*STATEMENTS, own_names=True),
            "with_photo": ArgumentSpec(kind="word", allowed=PHOTO_SUBJECTS, own_names=True),
            "at": _moved_to("after_session"),
        }
    ),
    "tool_result": CheckSpec(arguments={"says": _word("completed"), "each_of": _PLACES}),
    "target_identity": CheckSpec(arguments={"number": ArgumentSpec(kind="text", required=True)}),
    "function_check": CheckSpec(
        arguments={
            "of": _word(*FUNCTIONS),
            "shows": _word(*(state for state in FUNCTION_STATES if state != "not_working")),
            "each_of": _PLACES,
        }
    ),
    "ignition_unbroken": CheckSpec(arguments={"from": _word(*EVENTS), "to": _word(*EVENTS)}),
    "tyre_pressures": CheckSpec(
        arguments={"each": _limit("kPa", placard=True), "across_axle": _limit("kPa", required=False)}
    ),
    "ride_heights": CheckSpec(
        arguments={"front": _limit("mm"), "rear": _limit("mm"), "across_axle": _limit("mm", required=False)}
    ),
    "thrust_angle": CheckSpec(arguments={"limit": _limit("deg")}),
    "floor_survey": CheckSpec(
        arguments={
            "slope": _limit("deg"),
            "flatness": _limit("mm"),
            "not_older_than": _most("months", required=True),
        }
    ),
    "light_level": CheckSpec(
        arguments={"limit": _limit("lx"), "brightest_over_darkest": _limit("times", required=False)}
    ),
    "voltage_log": CheckSpec(
        arguments={
            "limit": _limit("V"),
            "ignore_shorter_than": _most("s", open_when_absent=True),
            "longest_gap": _most("s", required=True),
            "crank_windows": ArgumentSpec(kind="count", tightens="smaller", open_when_absent=True),
            "crank_longest": _most("s", open_when_absent=True),
        }
    ),
    "drive_log": CheckSpec(
        arguments={
            "speed": _limit("km/h"),
            "total_time": _limit("s"),
            "time_is": _word("mandatory", "indicative"),
            "longest_stretch": _limit("s", required=False),
            "shortest_counted": ArgumentSpec(kind="quantity", unit="s", tightens="larger"),
            "speed_change": _limit("m/s2", required=False),
            "turn_rate": _limit("deg/s", required=False),
            "longest_gap": _most("s", required=True),
            "sun_above": ArgumentSpec(kind="quantity", unit="deg", tightens="larger"),
        }
    ),
    "odometer_agrees": CheckSpec(arguments={"scale": _most("percent", required=True)}),
    "target_pose": CheckSpec(
        arguments={
            "measured_from": _word(*DATUM_MARKS),
            "bar_length": ArgumentSpec(kind="quantity", unit="mm", required=True),
            "centred_on": _moved_to("thrust_line"),
            "distance": _limit("mm"),
            "sideways": _limit("mm"),
            "yaw": _limit("deg", required=False),
            "height": _limit("mm", required=False),
            "bar_tilt": _limit("deg", required=False),
        }
    ),
    "point_position": CheckSpec(
        arguments={
            "measured_from": _word(*DATUM_MARKS),
            "along": _limit("mm", required=False),
            "across": _limit("mm", required=False),
            "height": _limit("mm", required=False),
        },
        needs_one=(("along", "across", "height"),),
    ),
    "mat_positions": CheckSpec(
        arguments={"mats": _count(), "each_centre": _limit("mm"), "each_turn": _limit("deg", required=False)}
    ),
    "film_build": CheckSpec(
        arguments={"points": _count(tightens="larger"), "zone": _word(*SENSORS), "limit": _limit("um")}
    ),
    "learned_aim": CheckSpec(
        arguments={axis: _limit("deg", required=False) for axis in ("yaw", "pitch", "roll")},
        needs_one=(("yaw", "pitch", "roll"),),
    ),
    "angle": CheckSpec(
        arguments={
            "of": _word(*_ANGLES),
            "place": _PLACE,
            "each_of": _OTHER_PLACES,
            "limit": _limit("deg"),
        }
    ),
    "value": CheckSpec(
        arguments={
            "of": _word(*QUANTITY_UNITS),
            "place": _PLACE,
            "each_of": _OTHER_PLACES,
            "limit": _limit(""),
        }
    ),
}
