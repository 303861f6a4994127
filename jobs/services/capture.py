"""When a file was captured, and how that is known."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from jobs.errors import Refused
from jobs.facts.clocks import LONG_AGO
from jobs.facts.files import CAMERA_TIME
from jobs.models import Device, RecordedMoment
from jobs.services import moments

DEVICE_CLAIM: Final = "device claim"
RECEIPT_ONLY: Final = "receipt only"


def captured_moment(
    facts: Mapping[str, Any],
    claimed: RecordedMoment | None,
    *,
    device: Device | None,
    zone: ZoneInfo,
    as_of: datetime,
) -> tuple[RecordedMoment, str]:
    """The camera's own time where the picture carries it, else the device's claim, else receipt alone.

    Both are corrected by what is known of the device's clock. A camera time in the future is not believed
    and refuses nothing: the picture is kept for what else it shows.
    """
    camera = _camera_time(facts, device=device, zone=zone, as_of=as_of)
    if camera is not None:
        return camera, CAMERA_TIME
    if claimed is not None:
        return claimed, DEVICE_CLAIM
    return RecordedMoment(text="", reading=as_of, clock="server", low=LONG_AGO, high=as_of), RECEIPT_ONLY


def _camera_time(
    facts: Mapping[str, Any], *, device: Device | None, zone: ZoneInfo, as_of: datetime
) -> RecordedMoment | None:
    text = facts.get("exif_at") or facts.get("exif_time")
    if not isinstance(text, str):
        return None
    try:
        return moments.read_clock_text(text, field="captured_at", zone=zone, device=device, as_of=as_of)
    except Refused:
        return None
