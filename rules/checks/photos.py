"""Photos that a proof rests on: the same picture elsewhere, time, place, readability, the slip seen."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft
from rules.checks.freshness import anything, of_session, part_window, place_of, serves, serving
from rules.checks.sentences import begin, names_argument, plain, words
from rules.checks.settling import work_begun
from rules.checks.stale_words import why_stale
from rules.facts import JobFacts, Moment, Photo, Place, Reuse, live
from rules.science.clocks import happened_before
from rules.science.geodesy import distance_m
from rules.verdict import Outcome, Reason, Settle, not_met, not_shown

# Project defaults, no source.
SMALLEST_LONG_SIDE_PX: Final = 1600
SMALLEST_SHORT_SIDE_PX: Final = 1200
SMALLEST_LAPLACIAN_VARIANCE: Final = 60.0
LARGEST_CLIPPED_SHARE: Final = 0.40
LARGEST_HASH_DISTANCE_BITS: Final = 6
SMALLEST_CORRELATION: Final = 0.97
SLIP_LIFE: Final = timedelta(hours=4)
# Photos of a drive or of the delivery are made elsewhere.
_AWAY_STAGES: Final = ("drive", "delivery")
_NEEDS_SLIP: Final = ("vehicle_front_with_slip",)
_ONLY_AFTER_DELIVERY: Final = ("odometer_out",)
# What these show is gone once the work has begun.
_BEFORE_THE_WORK: Final = ("dash_lamps_before", "odometer_in", "damage")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoFault:
    """One reason against a photo, in words, with what would change it."""

    reason: Reason
    text: str
    change: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What a photo is held against: the job, its place, and the end of the job window."""

    facts: JobFacts
    gate_at: datetime
    place: Place


def photo_faults(setting: Setting, photo: Photo) -> tuple[PhotoFault, ...]:
    """Every reason why the photo cannot carry a proof; none where it can.

    Reasons: reuse_exact, reuse_alike, outside_window, far_from_shop, unreadable, identity_conflict.
    """
    found = [_reuse(reuse) for reuse in photo.reuse]
    found += [
        _time(setting, photo),
        _distance(setting, photo),
        _readable(photo),
        _foreign_slip(setting.facts, photo),
    ]
    return tuple(item for item in found if item is not None)


def _reuse(reuse: Reuse) -> PhotoFault | None:
    if reuse.same_job:
        return None
    look = "A quality reviewer looks at both pictures side by side and decides."
    again = "Take the photo again."
    if reuse.same_bytes:
        # A reviewer who assigns the file to this job removes the entry; no decision here undoes equal bytes.
        return PhotoFault(
            reason=not_met("reuse_exact"), text="The same file is evidence of another job.", change=again
        )
    is_cleared = reuse.correlation is not None and reuse.correlation < SMALLEST_CORRELATION
    if reuse.distance > LARGEST_HASH_DISTANCE_BITS or is_cleared or reuse.decision == "different":
        return None
    text = f"The picture looks the same as one of another job ({reuse.distance} of 64 bits differ)."
    if reuse.decision == "same picture":
        return PhotoFault(
            reason=not_met("reuse_alike"), text=f"{text} A person found them the same.", change=again
        )
    return PhotoFault(reason=not_shown("reuse_alike"), text=text, change=look)


def _time(setting: Setting, photo: Photo) -> PhotoFault | None:
    delivery = setting.facts.delivery
    end = Moment.exact(setting.gate_at) if delivery is None else delivery.at
    captured = photo.captured
    if happened_before(setting.facts.opened, captured) == "true" and happened_before(captured, end) == "true":
        return None
    return PhotoFault(
        reason=not_shown("outside_window"),
        text="It is not shown that the photo was taken between the opening of the order and now.",
        change="Compare the camera's clock with the server's, or take the photo again.",
    )


def _distance(setting: Setting, photo: Photo) -> PhotoFault | None:
    if photo.stage in _AWAY_STAGES or photo.lat is None or photo.lon is None:
        return None
    place = setting.place
    allowed_m = place.photo_radius_m + (photo.accuracy_m or 0.0)
    away_m = round(distance_m(place.lat, place.lon, photo.lat, photo.lon), 6)
    if away_m <= allowed_m:
        return None
    return PhotoFault(
        reason=not_shown("far_from_shop"),
        text=f"The photo was taken {away_m:.0f} m from {place.name}; {allowed_m:.0f} m are allowed.",
        change="Take the photo again at the shop.",
    )


def _readable(photo: Photo) -> PhotoFault | None:
    texts = []
    long_side, short_side = max(photo.width, photo.height), min(photo.width, photo.height)
    if long_side < SMALLEST_LONG_SIDE_PX or short_side < SMALLEST_SHORT_SIDE_PX:
        texts.append(
            f"The photo is {photo.width} x {photo.height}; "
            f"at least {SMALLEST_LONG_SIDE_PX} x {SMALLEST_SHORT_SIDE_PX} is needed."
        )
    # Written so that a number that is none (NaN) does not pass.
    if photo.laplacian_variance is None or not photo.laplacian_variance >= SMALLEST_LAPLACIAN_VARIANCE:
        texts.append("The photo is not sharp enough.")
    if photo.clipped_share is None or not photo.clipped_share <= LARGEST_CLIPPED_SHARE:
        texts.append("Too much of the photo is pure black or white.")
    if photo.readable == "no":
        texts.append("The person who read it marked it as not readable.")
    if not texts:
        return None
    return PhotoFault(
        reason=not_shown("unreadable"), text=" ".join(texts), change="Take the photo again, sharp and large."
    )


def _foreign_slip(facts: JobFacts, photo: Photo) -> PhotoFault | None:
    slip = photo.slip
    if slip is None or not slip.authentic or slip.job_id == facts.job_id:
        return None
    return PhotoFault(
        reason=not_met("identity_conflict"),
        text="The slip in the picture was issued for another job.",
        change="Take the photo again with this job's slip.",
    )


def shows_own_slip(facts: JobFacts, photo: Photo) -> bool:
    """Is an authentic slip of this job seen, taken after its issue and within its life of four hours?"""
    slip = photo.slip
    if slip is None or not slip.authentic or slip.job_id != facts.job_id:
        return False
    issued = Moment.exact(slip.issued_at)
    expires = Moment.exact(slip.issued_at + SLIP_LIFE)
    # A bracket that begins at the issue is itself read from the slip.
    return photo.captured.high >= issued.low and happened_before(photo.captured, expires) == "true"


def setting_of(context: CheckContext) -> Setting:
    """The job, its gate instant, and the place of the proof's session."""
    return Setting(facts=context.facts, gate_at=context.gate_at, place=place_of(context))


def photos_showing(facts: JobFacts, subject: str) -> tuple[Photo, ...]:
    """Live photos whose ``shows`` lists the subject."""
    return tuple(photo for photo in live(facts.photos) if subject in photo.shows)


def judge_photos(draft: Draft, context: CheckContext, subject: str, photos: Iterable[Photo]) -> None:
    """One of the photos must carry the subject; without one that can, the faults of the last are the reasons.

    With no photo at all: not_shown missing.
    """
    setting = setting_of(context)
    listed = list(photos)
    named = subject_words(subject)
    if not listed:
        _no_photo(draft, context, subject)
        return
    faults: tuple[PhotoFault, ...] = ()
    for photo in reversed(listed):
        own = (*photo_faults(setting, photo), *_slip_fault(context.facts, subject, photo))
        if not own:
            draft.rests_on(photo)
            draft.say(f"Evidence {photo.number} shows {named}.")
            if photo.lat is None:
                draft.note(f"Evidence {photo.number} has no position.")
            if not photo.has_exif_time:
                draft.note(
                    f"Evidence {photo.number} has no time of its own; its time is {photo.captured_how}."
                )
            return
        faults = faults or own
    draft.rests_on(listed[-1])
    for fault in faults:
        text = f"Evidence {listed[-1].number}, {named}: {fault.text}"
        draft.open(fault.reason, text, fault.change, _settle_of(context))


def _no_photo(draft: Draft, context: CheckContext, subject: str) -> None:
    named = subject_words(subject)
    if subject in _BEFORE_THE_WORK and work_begun(context.facts):
        draft.not_shown(
            "missing",
            f"There is no photo of {named}, and the work has begun.",
            f"File a photo of {named} if one was taken in time; that state cannot be photographed any more.",
            "never",
        )
        return
    draft.not_shown(
        "missing", f"There is no photo of {named}.", f"Take a photo of {named}.", _settle_of(context)
    )


def _settle_of(context: CheckContext) -> Settle:
    """A photo of a session needs its set-up; one of the common record needs the car."""
    return "now" if context.procedure.kind else "car_here"


def subject_words(subject: str) -> str:
    """``safety mark`` for safety_mark_photo: what the photo is of."""
    return plain(subject.removesuffix("_photo"))


def _slip_fault(facts: JobFacts, subject: str, photo: Photo) -> tuple[PhotoFault, ...]:
    if subject not in _NEEDS_SLIP or shows_own_slip(facts, photo):
        return ()
    return (
        PhotoFault(
            reason=not_shown("missing"),
            text="No valid slip of this job is seen in the picture.",
            change="Show the job's slip on the tablet and take the photo again within four hours.",
        ),
    )


def judge_with_photo(draft: Draft, context: CheckContext, subject: str, *, own_session: bool) -> None:
    """The photo that belongs to a statement: from the session itself, or fresh for its part."""
    photos = photos_showing(context.facts, subject)
    if own_session:
        judge_photos(draft, context, subject, of_session(context, photos, _sessions_of, _captured))
        return
    window = part_window(context)
    fresh = [] if window is None else [item for item in photos if serves(context, item.captured, window)]
    if photos and not fresh:
        _, reason = serving(context, photos, _captured, anything)
        draft.open(
            reason or not_shown("evidence_stale"),
            f"The photo of {subject_words(subject)} was not taken for this session. "
            f"{why_stale(context, photos, _captured)}".rstrip(),
            f"Take a photo of {subject_words(subject)} before the session starts.",
            "now",
        )
        return
    judge_photos(draft, context, subject, fresh)


def _sessions_of(photo: Photo) -> tuple[str, ...]:
    return () if photo.session is None else (photo.session,)


def _captured(photo: Photo) -> Moment:
    return photo.captured


def photo_set(context: CheckContext) -> Outcome:
    """A usable photo of every subject in ``needs``; odometer_out is left out until delivery.

    In a procedure with sessions the photos must serve the session part; in the common record the whole visit.
    Reasons: missing, evidence_stale and those of the photos.
    """
    needs = names_argument(context, "needs")
    delivery = context.facts.delivery
    # Leaving is judged at its very instant, and cannot rest on a photo that the delivery itself brings. A
    # packet is judged at the receipt of the delivery: the width of a clock may reach up to it.
    if delivery is None or delivery.at.low >= context.gate_at:
        needs = tuple(name for name in needs if name not in _ONLY_AFTER_DELIVERY)
    draft = begin(context, f"Photos must show {words(needs)}")
    for subject in needs:
        if context.procedure.kind:
            judge_with_photo(draft, context, subject, own_session=False)
        else:
            judge_photos(draft, context, subject, photos_showing(context.facts, subject))
    return draft.outcome()
