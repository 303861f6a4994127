"""The library of checks: each name that packs may use, with the function that judges it."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rules.checks.adhesive import adhesive_ready, batch_in_date
from rules.checks.alternatives import judge_alternatives
from rules.checks.base import Check, CheckContext
from rules.checks.codes import no_codes, scan_present
from rules.checks.codes_compare import codes_compare
from rules.checks.drive import drive_log
from rules.checks.equipment import equipment_valid
from rules.checks.film import film_build
from rules.checks.floor import floor_survey
from rules.checks.heights import ride_heights
from rules.checks.identity import identity_agrees
from rules.checks.lamps import lamp_states
from rules.checks.light import light_level
from rules.checks.mats import mat_positions
from rules.checks.odometer import odometer_agrees
from rules.checks.order import in_order, within
from rules.checks.people import people_qualified, signed
from rules.checks.photos import photo_set
from rules.checks.plan import citation_given, fit_known, operations_closed, step_list_signed
from rules.checks.record_photos import with_photo_faults
from rules.checks.records import (
    document,
    function_check,
    ignition_unbroken,
    statement,
    tool_result,
)
from rules.checks.target_identity import target_identity
from rules.checks.target_pose import target_pose
from rules.checks.thrust import thrust_angle
from rules.checks.tyres import tyre_pressures
from rules.checks.unjudged import failed_to_judge, unknown_check
from rules.checks.values import angle, learned_aim, point_position, value
from rules.checks.voltage import voltage_log
from rules.verdict import Outcome

# Judged after all others, in this order: they look at what the others rest on.
JUDGED_LAST: Final = ("equipment_valid", "people_qualified", "in_order")

CHECKS: Final[Mapping[str, Check]] = MappingProxyType(
    {
        "identity_agrees": identity_agrees,
        "operations_closed": operations_closed,
        "fit_known": fit_known,
        "voltage_log": voltage_log,
        "tyre_pressures": tyre_pressures,
        "target_pose": target_pose,
        "thrust_angle": thrust_angle,
        "drive_log": drive_log,
        "odometer_agrees": odometer_agrees,
        "no_codes": no_codes,
        "codes_compare": codes_compare,
        "scan_present": scan_present,
        "in_order": in_order,
        "within": within,
        "equipment_valid": equipment_valid,
        "adhesive_ready": adhesive_ready,
        "batch_in_date": batch_in_date,
        "photo_set": photo_set,
        "lamp_states": lamp_states,
        "statement": statement,
        "document": document,
        "citation_given": citation_given,
        "step_list_signed": step_list_signed,
        "tool_result": tool_result,
        "signed": signed,
        "ignition_unbroken": ignition_unbroken,
        "target_identity": target_identity,
        "function_check": function_check,
        "people_qualified": people_qualified,
        "value": value,
        "angle": angle,
        "point_position": point_position,
        "mat_positions": mat_positions,
        "film_build": film_build,
        "light_level": light_level,
        "learned_aim": learned_aim,
        "ride_heights": ride_heights,
        "floor_survey": floor_survey,
    }
)


def run_check(context: CheckContext) -> Outcome:
    """Judge one proof. A check that fails is not shown: an error never makes a proof met."""
    check = CHECKS.get(context.proof.check, unknown_check)
    try:
        if context.proof.alternatives:
            return judge_alternatives(context, run_check)
        return with_photo_faults(context, check(context))
    except Exception:
        return failed_to_judge(context)
