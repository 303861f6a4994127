"""Plain words for codes on pages: settle groups, roles, evidence kinds, photo subjects, cautions."""

from collections.abc import Collection
from typing import Final

SETTLE_GROUPS: Final = (
    ("now", "Still open: now, while the set-up stands"),
    ("car_here", "Still open: with the car here"),
    ("desk", "Still open: from the desk"),
    ("never", "Cannot be repaired"),
)
# The same classes as counts in a sentence: "2 with the car here, 1 from the desk".
SETTLE_COUNTS: Final = (
    ("now", "while the set-up stands"),
    ("car_here", "with the car here"),
    ("desk", "from the desk"),
    ("never", "that cannot be repaired"),
)
NEXT_WHEN: Final = {
    "now": "Next, while the set-up stands",
    "car_here": "Next, at the car",
    "desk": "Next, from the desk",
    "never": "Cannot be repaired",
}
SIGN_ROLES: Final = (("technician", "technician, the work"), ("quality_reviewer", "reviewer, the evidence"))
ROLE_WORDS: Final = {
    "technician": "Technician, the work:",
    "quality_reviewer": "Reviewer, the evidence:",
    "release": "Release:",
}
STAGES: Final = (
    ("intake", "intake"),
    ("before_repair", "before the repair"),
    ("repair", "during the repair"),
    ("before_calibration", "before aiming"),
    ("calibration", "while aiming"),
    ("drive", "on the drive"),
    ("final", "final"),
    ("delivery", "delivery"),
    ("later", "later"),
)
KINDS: Final = (
    ("drive_log", "drive log (GPX, CSV, NMEA)"),
    ("voltage_log", "voltage log (CSV)"),
    ("climate_log", "climate log (CSV)"),
    ("scan_summary", "scan summary (JSON)"),
    ("document", "document (PDF)"),
)
SUBJECTS: Final = (
    ("vehicle_front_with_slip", "vehicle front with its slip"),
    ("plate", "licence plate"),
    ("vin_plate", "VIN plate"),
    ("vin_label", "VIN label"),
    ("dash_lamps_before", "dash lamps before"),
    ("dash_lamps_after", "dash lamps after"),
    ("odometer_in", "odometer at intake"),
    ("odometer_out", "odometer at hand-over"),
    ("safety_mark_photo", "safety mark of the glass"),
    ("camera_window_outside", "camera window from outside"),
    ("cargo_area", "luggage space"),
    ("steering_wheel", "steering wheel straight ahead"),
    ("wide_bay", "the whole bay"),
    ("target_board", "target board"),
    ("radar_zone", "radar zone"),
    ("instrument_display", "display of an instrument"),
    ("damage", "damage"),
    ("repair_detail", "detail of the repair"),
)
MAKER_TEXT: Final = (
    "Limits come from the named pack. If the vehicle maker's service information differs, the maker's text "
    "applies; tell the pack author."
)
RECORD_ONLY: Final = (
    "Gate and verdicts say what the record shows. They do not certify that a car or any of its systems is "
    "safe. The vehicle maker's service information, local codes and licensed practice prevail."
)
CAUTIONS: Final = (
    "Follow the vehicle maker's service information and your licence; disable as directed before unplugging "
    "restraint or high-voltage parts.",
    MAKER_TEXT,
    "Each verdict is about one requirement at 95 %; many verdicts carry no overall probability.",
    "Local codes and licensed practice prevail over anything this program prints.",
)
ROAD_CAUTIONS: Final = (
    "Driver does not touch or watch the device. Obey traffic law and weather limits. Systems may not react "
    "or may react wrongly. Never test emergency braking or steering against people or vehicles.",
    "Insured and licensed driver only.",
)
ADHESIVE: Final = (
    "Follow the adhesive maker's data sheet for this vehicle and climate. Do not drive before the ready "
    "time. The computed time uses only what was recorded."
)
GLASS_CAUTIONS: Final = (
    ADHESIVE,
    "Urethane, primer, cleaner: isocyanates and solvents. Gloves, ventilation, follow the safety data sheet.",
)
ENGINE_CAUTION: Final = "Engine running indoors: exhaust extraction connected and running."
RADAR_CAUTIONS: Final = (
    "Radar: keep to the maker's distances; nobody in the marked zone during the session.",
)
STILL_CAUTIONS: Final = (
    "Laser levels and rangefinders: class as marked (IEC 60825-1); do not look into the beam, mind mirrors "
    "and glass.",
    "Jack, lift pads and stands clear of the car before heights are read and before anything is aimed.",
)


def cautions_for(kinds: tuple[str, ...], sensors: tuple[str, ...], *, bonded_glass: bool) -> list[str]:
    """The cautions that touch the required work, the general ones last.

    Args:
        kinds: kinds of the required procedures, as the packs give them.
        sensors: the sensors they are about.
        bonded_glass: whether adhesive has to be ready before the car is driven.
    """
    lines: list[str] = []
    if "dynamic" in kinds or "static_then_dynamic" in kinds:
        lines += ROAD_CAUTIONS
    if bonded_glass:
        lines += GLASS_CAUTIONS
    if any("radar" in sensor for sensor in sensors):
        lines += RADAR_CAUTIONS
    if "static" in kinds or "static_then_dynamic" in kinds:
        lines += STILL_CAUTIONS
    if any(kinds):
        lines.append(ENGINE_CAUTION)
    return [*lines, *CAUTIONS]


def subjects(*, asked: Collection[str], on_record: Collection[str]) -> list[tuple[str, str]]:
    """Photo subjects to choose from: what is asked for and missing first, what is on record last."""
    ranked = sorted(SUBJECTS, key=lambda item: (item[0] not in asked, item[0] in on_record))
    return [(code, f"{words}, on record already" if code in on_record else words) for code, words in ranked]


def counted(number: int, one: str, many: str) -> str:
    """``1 proof`` or ``3 proofs``."""
    return f"{number} {one if number == 1 else many}"


def sentence_start(text: str) -> str:
    """The first letter as a capital, the rest as it is."""
    return text[:1].upper() + text[1:]
