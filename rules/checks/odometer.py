"""odometer_agrees: whether this car can have made that drive, by its odometer before and after."""

from typing import Final, Literal

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, plain
from rules.checks.freshness import place_of
from rules.checks.movements import (
    DEFAULT_LONGEST_GAP_S,
    GAP_SPEED_KPH,
    TRACK_SCALE,
    odometer_readings,
    track_length,
)
from rules.checks.sentences import begin
from rules.checks.session_track import SessionTrack, session_track
from rules.facts import Reading
from rules.rounding import to_six
from rules.science.clocks import happened_before
from rules.science.geodesy import distance_m
from rules.verdict import Number, Outcome, Verdict

# A drive that starts or ends farther from the shop is noted, never judged (project default, metres).
NEAR_SHOP_M: Final = 500.0
# Odometers show whole kilometres or whole miles at the coarsest (common practice, no source), km.
COARSEST_STEP_KM: Final = 1.609344
_DRIVE_AGAIN: Final = "Drive again with a new log and an odometer photo before and after."


def odometer_agrees(context: CheckContext) -> Outcome:
    """The odometer's distance and the track's length must be able to be the same.

    Argument ``scale``: allowed error of the track's length, percent. Reason codes: missing, time_order,
    order_unprovable, uncertainty_unknown, instrument_not_capable, log_conflict.
    """
    return judge_odometer(context, session_track(context), scale_of(context))


def scale_of(context: CheckContext) -> float:
    """Allowed share of error of the track's length, from the procedure's own proof where it has one."""
    proofs = (context.proof, *context.procedure.proofs)
    scales = (proof.arguments.get("scale") for proof in proofs if proof.check == "odometer_agrees")
    scale = next((found for found in scales if isinstance(found, int | float)), None)
    return TRACK_SCALE if scale is None else float(scale) / 100.0


def odometer_verdict(context: CheckContext, track: SessionTrack) -> Verdict:
    """For the drive check: time before the first and after the last fix is no gap where this is met."""
    return judge_odometer(context, track, scale_of(context)).verdict


def judge_odometer(context: CheckContext, track: SessionTrack | None, share: float) -> Outcome:
    """The check for a given track; ``share`` is the allowed error of its length (0.03 for 3 %)."""
    draft = begin(context, "The odometer and the track must be able to be of one drive")
    if track is None:
        draft.not_shown(
            "missing",
            "There is no drive log for this session.",
            "File the drive log; where none was made, drive the session again with a log.",
            "desk",
        )
        return draft.outcome()
    draft.rests_on(*track.logs)
    if not track.in_order:
        draft.not_shown("time_order", "The times in the drive log do not run forward.", _DRIVE_AGAIN)
        return draft.outcome()
    first, second = _reading(context, track, draft, "before"), _reading(context, track, draft, "after")
    if first is not None and second is not None:
        _compare(draft, first, second, _track_numbers(draft, track, share))
    _note_distance(context, track, draft)
    return draft.outcome()


def _reading(
    context: CheckContext, track: SessionTrack, draft: Draft, side: Literal["before", "after"]
) -> Reading | None:
    """The last reading at or before the first fix, or the first at or after the last one."""
    readings = odometer_readings(context.facts)
    orders = [
        happened_before(item.at, track.start) if side == "before" else happened_before(track.end, item.at)
        for item in readings
    ]
    found = [item for item, order in zip(readings, orders, strict=True) if order == "true"]
    nearest = None if not found else found[-1] if side == "before" else found[0]
    perhaps = [item for item, order in zip(readings, orders, strict=True) if order == "unknown"]
    if nearest is not None and all(item.value == nearest.value for item in perhaps):
        return nearest
    change = "Read the odometer and photograph it." if side == "after" else _DRIVE_AGAIN
    if "unknown" in orders:
        sentence = f"The clocks do not show that an odometer reading was taken {side} the drive."
        draft.not_shown("order_unprovable", sentence, change)
    else:
        draft.not_shown("missing", f"There is no odometer reading {side} the drive.", change)
    return None


def _track_numbers(draft: Draft, track: SessionTrack, share: float) -> tuple[float, float]:
    """Shortest and longest way (km) the track allows; every gap may hide driving at 130 km/h."""
    length_km, gap_s = track_length(track.fixes, DEFAULT_LONGEST_GAP_S)
    low = to_six(length_km * (1 - share))
    high = to_six(length_km * (1 + share) + gap_s * GAP_SPEED_KPH / 3600.0)
    draft.numbers.append(Number(name="track_km", value=to_six(length_km), unit="km", lower=low, upper=high))
    draft.number("gap_s", gap_s, "s")
    return low, high


def _compare(draft: Draft, first: Reading, second: Reading, track: tuple[float, float]) -> None:
    """A truncating display of step r: the true distance lies in (O2 - O1 - r, O2 - O1 + r)."""
    draft.rests_on(first, second)
    if first.resolution is None or second.resolution is None:
        draft.not_shown(
            "uncertainty_unknown",
            "The step of the odometer's display is not recorded.",
            "Record the step of the odometer's display.",
            "desk",
        )
        return
    if max(first.resolution, second.resolution) > COARSEST_STEP_KM:
        draft.not_shown(
            "instrument_not_capable",
            "The recorded step of the display is coarser than a mile: any drive would agree with it.",
            "Record the step of the odometer's display.",
            "desk",
        )
        return
    low = to_six(second.value - first.value - first.resolution)
    high = to_six(second.value - first.value + second.resolution)
    shown = to_six(second.value - first.value)
    draft.numbers.append(Number(name="odometer_km", value=shown, unit="km", lower=low, upper=high))
    told = (
        f"The odometer went from {first.value:g} km to {second.value:g} km, so the car drove more than "
        f"{plain(low, 1)} km and less than {plain(high, 1)} km. The track is between "
        f"{plain(track[0], 2)} km and {plain(track[1], 2)} km long."
    )
    if low < track[1] and track[0] < high:
        draft.say(told)
        return
    draft.not_met("log_conflict", f"{told} Both cannot be true of one drive.", _DRIVE_AGAIN)


def _note_distance(context: CheckContext, track: SessionTrack, draft: Draft) -> None:
    place = place_of(context)
    for fix, word in ((track.fixes[0], "starts"), (track.fixes[-1], "ends")):
        away_m = distance_m(place.lat, place.lon, fix.lat, fix.lon)
        if away_m > NEAR_SHOP_M:
            draft.note(f"The drive {word} {away_m / 1000:.1f} km from the shop.")
