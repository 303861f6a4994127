"""Which computation belongs to which check of the packs, by the name a reader knows."""

from collections.abc import Callable
from typing import Final

from jobs.packets.pages.worked import adhesive, car, floor, identity, logs, target, when
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Worked

COMPUTATIONS: Final[dict[str, tuple[str, Callable[[Paper], Worked]]]] = {
    "target_pose": ("Where the target really stood", target.target),
    "thrust_angle": ("Thrust line from the rear toe", car.thrust),
    "ride_heights": ("Ride heights, left against right", car.heights),
    "floor_survey": ("Plane of the floor", floor.floor),
    "tyre_pressures": ("Tire pressures at ambient temperature", car.tires),
    "voltage_log": ("Supply voltage through the session", logs.voltage),
    "adhesive_ready": ("When the adhesive was ready", adhesive.ready),
    "batch_in_date": ("Batches on the day of setting", adhesive.batches),
    "drive_log": ("Minutes of the drive that count", logs.drive),
    "odometer_agrees": ("Did this car make that drive", logs.odometer),
    "equipment_valid": ("Instruments in date on the day of use", when.instruments),
    "in_order": ("Order of events", when.order),
    "within": ("Time between two events", when.within),
    "codes_compare": ("Codes from the first scan to the final one", identity.codes),
    "no_codes": ("Codes before aiming", identity.codes),
    "identity_agrees": ("VIN and its check digit", identity.check_digit),
    "light_level": ("Light on the target", car.light),
    "learned_aim": ("Learned aim against its limits", car.plain),
    "film_build": ("Paint thickness against its limit", car.plain),
    "mat_positions": ("Positions of the mats", car.plain),
    "point_position": ("Position of a point", car.plain),
    "angle": ("Angle against its limit", car.plain),
    "value": ("Measured value against its limit", car.plain),
}
