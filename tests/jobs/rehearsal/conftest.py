"""A small scenario in one string, and the database that a rehearsal makes for itself."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

SMALL = """\
scenario: "A door is refinished"
day: "2026-05-05"
jobs:
  car:
    number: EM-2026-0500
    vehicle: {vin: Z0ASD1F89S2011835, make: Orrinvale, model: Sedge, year: 2025}
    order: {at: 07:40, odometer: 21007 km}
    fitted:
      looked_at: {at: 07:55, ways: [build_data, sight], yes: [forward_camera], no: [front_radar]}
    operations:
      door: {at: 09:40, operation: door.left_front.refinished}
    closings:
      first: {at: 09:50}
    readings:
      tyres: {at: 10:00, quantity: tyre_pressure, unit: kPa, instrument: PG-022, values: {front_left: 231}}
parts:
  end:
    at: 11:00
    expect:
      car:
        disposition: hold
        proofs:
          CP-EVERY/plan: {verdict: met}
          CP-EVERY/fit: {verdict: not_shown, reasons: [fit_unknown]}
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """The small scenario as a file."""
    path = tmp_path / "small.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return path


@pytest.fixture
def own_database(django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Lets a rehearsal open the database that it makes; the tests' own one is not set up."""
    with django_db_blocker.unblock():
        yield
