"""Advice on a target in words: how to move its stand, and what else to measure."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from rules.checks.draft import listed, plain
from rules.science.target_advice import Option, OptionName, Quantity, StandMove, quickest

REPEATS: Final[Mapping[OptionName, str]] = {
    "one_more_set": "measure the four distances once more",
    "two_more_sets": "measure the four distances twice more",
    "three_more_sets": "measure the four distances three times more",
    "other_axle": "read the four distances from the marks of the other axle as well",
}
OPTION_WORDS: Final[Mapping[OptionName, str]] = {
    "as_is": "leave it as it is",
    **REPEATS,
    "move_stand": "move the stand and measure once",
}
ALL: Final[tuple[Quantity, ...]] = ("distance", "sideways", "yaw")
SET_UP_ANEW: Final = "Set the target up anew and measure again."
BETTER_INSTRUMENTS: Final = (
    "Measure with instruments of smaller uncertainty: with these, no set-up can be shown to keep the limits."
)
_SHOWN_MM: Final = 0.05
_SHOWN_DEG: Final = 0.0005


def move_words(move: StandMove, quantities: Iterable[Quantity] = ALL) -> str:
    """``move the stand 6.0 mm towards the car and 3.6 mm to the right, turn it 0.045 deg anticlockwise``.

    Only the moves that the named quantities ask for; empty where none can be seen.
    """
    wanted = tuple(quantities)
    ways = []
    if "distance" in wanted:
        ways.append(_way(move.towards_car_mm, "towards the car", "away from the car"))
    if "sideways" in wanted:
        ways.append(_way(move.to_right_mm, "to the right", "to the left"))
    shifts = listed(way for way in ways if way)
    turn = move.turn_anticlockwise_deg if "yaw" in wanted else 0.0
    parts = [f"move the stand {shifts}"] if shifts else []
    if abs(turn) >= _SHOWN_DEG:
        side = "anticlockwise" if turn > 0 else "clockwise"
        parts.append(f"turn {'it' if parts else 'the bar'} {plain(abs(turn), 3)} deg {side}")
    return ", ".join(parts)


def _way(amount: float, forward: str, back: str) -> str:
    if abs(amount) < _SHOWN_MM:
        return ""
    return f"{plain(abs(amount), 1)} mm {forward if amount > 0 else back}"


def change_words(
    move: StandMove, options: Sequence[Option], open_quantities: Iterable[Quantity], *, undecided: bool
) -> str:
    """What would change an open position: the quickest reading that probably settles it, or the move.

    ``Measure the four distances once more, or move the stand 7.2 mm to the right.`` ``undecided``: the
    position is too close to a limit to tell, not outside it.
    """
    moved = move_words(move, open_quantities)
    repeat = quickest(options, tuple(REPEATS)) if undecided else None
    if repeat is not None:
        words = REPEATS[repeat.name]
        return _sentence(f"{words}, or {moved}" if moved else words)
    if undecided and _not_capable(options):
        return BETTER_INSTRUMENTS
    if not moved:
        return SET_UP_ANEW
    advice = _sentence(f"{moved} and measure again")
    return f"{advice} More readings of the stand where it is would not settle it." if undecided else advice


def _not_capable(options: Sequence[Option]) -> bool:
    """Would even a stand moved to the very middle leave some quantity without a place to be met?"""
    zones = [zone for option in options if option.name == "move_stand" for zone in option.zones]
    return any(
        zone.accept_lower is not None
        and zone.accept_upper is not None
        and zone.accept_lower > zone.accept_upper
        for zone in zones
    )


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
