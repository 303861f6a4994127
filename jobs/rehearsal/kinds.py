"""What a kind of record is, the keys that every record has, and what the desk and the world may tell."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from jobs.rehearsal.fields import (
    Field,
    day_text,
    listing,
    may,
    needed,
    number_typed,
    span,
    table_of,
    text,
    when,
    whole,
    word,
    yes_no,
)
from rules.quantities import UNITS

# Keys that every record may have.
HEADER: Final[Mapping[str, Field]] = MappingProxyType(
    {
        "at": needed(when),
        "by": may(text),
        "device": may(text),
        "received": may(when),
        "where": may(text),
        "refused": may(text),
        "note": may(text),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of record.

    Attributes:
        cast: whose work it usually is; the role in the job's cast that acts where ``by`` is absent.
        written: False for what follows from another record and is no key of the file.
        points_at: key of the body → sections whose records it names.
    """

    fields: Mapping[str, Field] = field(default_factory=dict)
    cast: str = "technician"
    points_at: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    written: bool = True


_POINT = table_of(
    {
        "nominal": needed(number_typed),
        "indication": needed(number_typed),
        "error": needed(number_typed),
        "U": needed(number_typed),
        "k": may(number_typed, "2"),
        "unit": needed(word(UNITS)),
    }
)
# What happens at the desk, to no one job.
DESK_KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {
        "comparisons": Kind(fields={"clock": needed(text), "delay": may(span)}, cast="technician"),
        "screens": Kind(
            fields={"instrument": needed(text), "shows": needed(text), "job": needed(text)},
            cast="technician",
        ),
        "surveys": Kind(
            fields={
                "bay": needed(text),
                "instrument": may(text, "FL-001"),
                "points": needed(listing(text)),
                "unit": may(word(UNITS), "mm"),
                "valid_months": may(whole(1, 120), 12),
                "grid_note": may(text, ""),
            },
            cast="technician",
        ),
        "voided_surveys": Kind(
            fields={"survey": needed(text), "reason": may(text, "A lift was installed in this bay.")},
            cast="quality",
            points_at={"survey": ("surveys",)},
        ),
        "certificates": Kind(
            fields={
                "equipment": needed(text),
                "number": needed(text),
                "calibrated_on": needed(day_text),
                "issued_on": may(day_text),
                "calibrated_at": may(when),
                "as_found": may(listing(_POINT), ()),
                "as_left": may(listing(_POINT), ()),
                "adjusted": may(yes_no, False),
                "mpe": may(text, ""),
                "lab": may(text, "Fellgate Metrology Laboratory"),
                "confirmed_by": may(text, "dpell"),
                "unconfirmed": may(yes_no, False),
            },
            cast="quality",
        ),
        "instrument_events": Kind(
            fields={
                "equipment": needed(text),
                "event": needed(
                    word(
                        (
                            "dropped", "repaired", "adjusted", "software_updated", "lent_out", "returned",
                            "lost", "found", "quarantine", "clear",
                        )
                    )
                ),
                "text": may(text, ""),
            },
            cast="quality",
        ),
        "checks_before_use": Kind(
            fields={"equipment": needed(text), "shows": needed(number_typed)}, cast="technician"
        ),
        "withdrawn_packs": Kind(
            fields={
                "pack": needed(text),
                "edition": needed(whole(1, 9999)),
                "on": may(day_text),
                "reason": may(text, "The maker has taken this text back."),
                "severity": may(word(("information", "caution", "safety")), "caution"),
            },
            cast="operations",
        ),
    }
)  # fmt: skip

# Sections of the invented world that a file may add to or change: key of a row → is it needed for a new row.
WORLD_SECTIONS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "organisations": ("name", "kind", "default_tz", "page_size", "refusal_allowed", "retention_years",
                          "release_roles"),
        "locations": ("org", "name", "address", "lat", "lon", "tz", "photo_radius_m"),
        "bays": ("org", "location", "length_mm", "width_mm", "height_mm", "use"),
        "people": ("org", "name", "roles", "pin"),
        "qualifications": ("person", "kind", "issuer", "issued_on", "expires_on"),
        "equipment": ("org", "class", "maker", "model", "serial", "location", "resolution", "unit",
                      "needs_certificate", "in_service_from"),
        "certificates": ("equipment", "calibrated_on", "points"),
        "method_budgets": ("org", "quantity", "class", "u_fixed", "u_relative", "u_repeat", "resolution",
                           "unit", "valid_from", "by", "basis"),
        "adhesive_sheets": ("org", "document", "issue", "cells"),
        "sensor_functions": ("org", "make", "sensor", "functions"),
        "packs": ("org", "published_on"),
        "devices": ("org", "location", "kind"),
        "models": (),
    }
)  # fmt: skip
