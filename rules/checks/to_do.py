"""What a proof asks of the person at the car while nobody has begun its procedure."""

from typing import Final

TO_DO: Final = {
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


def to_do(check: str, title: str) -> str:
    """One line for a check; where it has none, to carry out the procedure of that title."""
    return TO_DO.get(check, f"Carry out: {title}.")
