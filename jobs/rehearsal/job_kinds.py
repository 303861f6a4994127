"""The kinds of record of one job that a scenario may tell, with the keys of each."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from jobs.rehearsal.fields import (
    checked,
    day_text,
    listing,
    may,
    needed,
    number,
    number_typed,
    pairs,
    span,
    table_of,
    text,
    when,
    whole,
    word,
    yes_no,
)
from jobs.rehearsal.kinds import Kind
from rules import vocabulary as words
from rules.quantities import UNITS

_OPERATION = checked(words.is_operation_name, "an operation name such as glass.windshield.replaced")
_MILEAGE = checked(
    lambda typed: len(typed.split()) == 2 and typed.split()[1] in ("km", "mi"), "a mileage such as 21007 km"
)
_NAMES = may(listing(text), ())
_STAGE = may(word(words.EVIDENCE_STAGES), "repair")
_SESSION = {"session": may(text), "sessions": _NAMES}
_FILE = {"text": may(text), "file": may(text)}


_FILES = ("photos", "files", "drives", "voltages", "climates", "scans")
_PHOTOS = {"photos": _FILES}
_IN_SESSION = {"session": ("sessions",), "sessions": ("sessions",)}

_CODE = table_of(
    {
        "module": may(text),
        "system": may(word((*words.SENSORS, *words.MODULE_SYSTEMS))),
        "code": needed(text),
        "ftb": may(text),
        "state": may(word(("present", "intermittent", "stored")), "present"),
        "text": may(text, ""),
        "count": may(whole(0, 1_000_000)),
        "first_seen_km": may(number),
    }
)
_PART = table_of(
    {"from": needed(when), "to": may(when), "result": may(word(words.SESSION_RESULTS), "completed")}
)
_BATCH = table_of({"product": needed(text), "batch": needed(text), "expires_on": may(day_text, "")})
_MODULES = pairs(None, word((*words.SENSORS, *words.MODULE_SYSTEMS)))
_PLACE = table_of({"lat": needed(number), "lon": needed(number)})

# Sections of one job, in the order in which records of one instant are played.
JOB_KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "photos": Kind(
            fields={
                "shows": _NAMES,
                "stage": _STAGE,
                "reads": may(text, ""),
                "slip": may(text),
                "taken": may(when),
                "camera_time": may(word(("with_offset", "local", "none")), "with_offset"),
                "place": may(_PLACE),
                "metres_north": may(number),
                "no_place": may(yes_no, False),
                "same_as": may(text),
                "looks_like": may(text),
                "size": may(listing(whole(16, 6000))),
                "blurred": may(yes_no, False),
                "instrument": may(text, ""),
                "file": may(text),
                **_SESSION,
            },
            points_at=_IN_SESSION,
        ),
        "files": Kind(
            fields={
                "kind": needed(word(words.EVIDENCE_KINDS)),
                "stage": _STAGE,
                "shows": _NAMES,
                "base64": may(text),
                "instrument": may(text, ""),
                **_FILE,
                **_SESSION,
            },
            points_at=_IN_SESSION,
        ),
        "climates": Kind(
            fields={
                "start": may(when),
                "minutes": may(whole(0, 6000), 90),
                "lows": may(table_of({"temp": needed(number), "rh": needed(number)})),
                "samples": _NAMES,
                "instrument": may(text, "CL-006"),
                "stage": _STAGE,
                **_FILE,
            },
            cast="glass",
        ),
        "identity": Kind(
            fields={
                "way": needed(word(words.IDENTITY_WAYS)),
                "vin": may(text),
                "module": may(text, ""),
                "photos": _NAMES,
            },
            cast="front_desk",
            points_at=_PHOTOS,
        ),
        "fitted": Kind(
            fields={
                "ways": needed(listing(word(words.FITTED_WAYS))),
                "yes": may(listing(word(words.SENSORS)), ()),
                "no": may(listing(word(words.SENSORS)), ()),
                "unknown": may(listing(word(words.SENSORS)), ()),
                "photos": _NAMES,
            },
            points_at=_PHOTOS,
        ),
        "estimate": Kind(
            fields={
                "line": needed(whole(1, 10_000)),
                "text": needed(text),
                "operations": may(listing(_OPERATION), ()),
                "touches_nothing": may(yes_no, False),
            },
            cast="front_desk",
        ),
        "mappings": Kind(
            fields={
                "line": needed(text),
                "operations": may(listing(_OPERATION), ()),
                "touches_nothing": may(yes_no, False),
            },
            cast="front_desk",
            points_at={"line": ("estimate",)},
        ),
        "operations": Kind(
            fields={
                "operation": needed(_OPERATION),
                "started": may(when),
                "done": may(when),
                "unfinished": may(yes_no, False),
                "done_by": may(text, ""),
                "found_later": may(yes_no, False),
                "zone": may(word(words.SENSORS), ""),
                "line": may(text),
                "photos": _NAMES,
            },
            points_at={**_PHOTOS, "line": ("estimate",)},
        ),
        "withdrawals": Kind(
            fields={"operation": needed(text), "reason": may(text, "Recorded by mistake on this job.")},
            points_at={"operation": ("operations",)},
        ),
        "glass": Kind(
            fields={
                "operation": needed(text),
                "set_at": may(text),
                "set_by": may(text, ""),
                "maker": may(text, "Glastran"),
                "part": needed(text),
                "adhesive": may(_BATCH),
                "primer": may(_BATCH),
                "climate": may(text),
                "photos": _NAMES,
            },
            cast="glass",
            points_at={**_PHOTOS, "operation": ("operations",), "climate": ("climates",)},
        ),
        "closings": Kind(cast="front_desk"),
        "reopenings": Kind(fields={"reason": may(text, "Something was found later.")}, cast="front_desk"),
        "lookups": Kind(
            fields={
                "procedure": needed(text),
                "document": needed(text),
                "edition": may(text, ""),
                "section": may(text, ""),
                "looked_up": may(when),
                "photos": _NAMES,
            },
            points_at=_PHOTOS,
        ),
        "changes": Kind(
            fields={
                "change": needed(word(words.STATE_CHANGES)),
                "on_road": may(yes_no, False),
                "photos": _NAMES,
            },
            points_at=_PHOTOS,
        ),
        "sublets": Kind(
            fields={
                "to": needed(text),
                "procedures": needed(listing(text)),
                "carried": needed(word(("driven", "trailer", "done_here"))),
                "out": may(when),
                "out_odometer": may(_MILEAGE),
                "back": may(when),
                "back_odometer": may(_MILEAGE),
                "lamps": may(pairs(None, word(words.LAMP_STATES))),
            },
            cast="manager",
        ),
        "sessions": Kind(
            fields={
                "procedure": needed(text),
                "bay": may(text, ""),
                "tool": may(text),
                "ended": may(when),
                "ended_received": may(when),
                "result": may(word(words.SESSION_RESULTS), "completed"),
                "results": may(pairs(None, word(words.SESSION_RESULTS)), {}),
                "result_text": may(text, ""),
                "software": may(text, "SC 7.2"),
                "performed_by": may(text, ""),
                "observer": may(text, ""),
                "performer_org": may(text, ""),
                "reuses_part_of": may(text),
                "still": may(_PART),
                "road": may(_PART),
                "key": _NAMES,
            },
            points_at={"reuses_part_of": ("sessions",)},
        ),
        "targets": Kind(
            fields={
                "number": needed(text),
                "right_way_up": may(yes_no, True),
                "clean": may(yes_no, True),
                "procedure": may(text, ""),
                "photos": _NAMES,
                **_SESSION,
            },
            points_at={**_PHOTOS, **_IN_SESSION},
        ),
        "readings": Kind(
            fields={
                "quantity": needed(word(words.QUANTITY_UNITS)),
                "unit": needed(word(UNITS)),
                "values": needed(pairs(None, number_typed)),
                "instrument": may(text, ""),
                "set": may(whole(1, 100), 1),
                "resolution": may(number_typed, ""),
                "procedure": may(text, ""),
                "bay": may(text, ""),
                "photos": _NAMES,
                **_SESSION,
            },
            points_at={**_PHOTOS, **_IN_SESSION},
        ),
        "scans": Kind(
            fields={
                "stage": needed(word(words.SCAN_STAGES)),
                "tool": may(text),
                "ended": may(when),
                "timed_by": may(word(("tablet", "tool")), "tablet"),
                "shows": may(text),
                "vin": may(text),
                "vins": may(pairs(None, text), {}),
                "modules": may(_MODULES),
                "more_modules": may(_MODULES, {}),
                "not_asked": _NAMES,
                "silent": _NAMES,
                "codes": may(listing(_CODE), ()),
                "cleared": may(pairs(None, text), {}),
                "used_parts": _NAMES,
                "mileage": may(_MILEAGE),
                "volts": may(number, 13.4),
                "software": may(text, "SC 7.2"),
                **_FILE,
            }
        ),
        "lamps": Kind(
            fields={"states": needed(pairs(None, word(words.LAMP_STATES))), "photos": _NAMES, **_SESSION},
            points_at={**_PHOTOS, **_IN_SESSION},
        ),
        "statements": Kind(
            fields={
                "says": _NAMES,
                "denies": _NAMES,
                "bay": may(text, ""),
                "procedure": may(text, ""),
                "version": may(text, "shop-1"),
                "photos": _NAMES,
                **_SESSION,
            },
            points_at={**_PHOTOS, **_IN_SESSION},
        ),
        "session_ends": Kind(written=False),
        "keys": Kind(
            fields={"session": needed(text), "events": needed(listing(text))},
            points_at={"session": ("sessions",)},
        ),
        "functions": Kind(
            fields={
                "function": needed(word(words.FUNCTIONS)),
                "shows": needed(word(words.FUNCTION_STATES)),
                "place": may(text, ""),
                "how": may(text, ""),
                "session": needed(text),
                "photos": _NAMES,
            },
            points_at={**_PHOTOS, "session": ("sessions",)},
        ),
        "drives": Kind(
            fields={
                "drive": may(text),
                "start": may(when),
                "from": may(_PLACE),
                "course": may(number, 0.0),
                "form": may(word(("gpx", "csv", "nmea")), "gpx"),
                "stage": may(word(words.EVIDENCE_STAGES), "drive"),
                "instrument": may(text, ""),
                **_FILE,
                **_SESSION,
            },
            points_at=_IN_SESSION,
        ),
        "voltages": Kind(
            fields={
                "start": may(when),
                "end": may(when),
                "volts": may(text),
                "every": may(span),
                "events": may(pairs(None, text), {}),
                "instrument": may(text, "VL-009"),
                "stage": may(word(words.EVIDENCE_STAGES), "calibration"),
                **_FILE,
                **_SESSION,
            },
            points_at=_IN_SESSION,
        ),
        "set_asides": Kind(
            fields={
                "evidence": needed(text),
                "reason": may(text, "It does not show what it is said to show."),
            },
            cast="reviewer",
            points_at={"evidence": _FILES},
        ),
        "compared_photos": Kind(
            fields={
                "photo": needed(text),
                "other": needed(text),
                "decision": needed(word(("same picture", "different"))),
            },
            cast="reviewer",
            points_at={"photo": ("photos",)},
        ),
        "explanations": Kind(
            fields={"module": needed(text), "code": needed(text), "ftb": may(text, ""), "text": needed(text)},
            cast="reviewer",
        ),
        "waivers": Kind(
            fields={
                "procedure": needed(text),
                "proof": needed(text),
                "reason": needed(text),
                "instead": may(text, "Nothing could be done in its place; the owner was told."),
                "told": may(when),
            },
            cast="quality",
        ),
        "refusals": Kind(
            fields={
                "procedure": needed(text),
                "name": needed(text),
                "relation": may(word(("owner", "authorised_agent", "other")), "owner"),
                "version": may(text, "declined-1"),
                "systems": needed(listing(word(words.FUNCTIONS))),
                "lamp_state": may(text, "no lamp lit"),
                "photos": _NAMES,
            },
            cast="front_desk",
            points_at=_PHOTOS,
        ),
        "signatures": Kind(
            fields={
                "role": needed(word(("technician", "quality_reviewer"))),
                "version": may(text, "1"),
            },
            cast="signer",
        ),
        "releases": Kind(fields={"version": may(text, "release-1")}, cast="manager"),
        "deliveries": Kind(fields={"odometer": needed(_MILEAGE)}, cast="manager"),
    }
)
