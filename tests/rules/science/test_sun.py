"""The sun's place against worked values and an independent formula."""

import math
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.science.sun import position_deg

CENTRAL_SUMMER = timezone(timedelta(hours=-5))


@pytest.mark.parametrize(
    ("at", "lat", "lon", "elevation", "azimuth"),
    [
        (datetime(2026, 10, 20, 18, 5, tzinfo=CENTRAL_SUMMER), 43.1, -98.2, 5.6, 249.8),
        (datetime(2026, 6, 21, 12, 2, tzinfo=UTC), 51.4769, 0.0, 61.96, 180.1),
        # Noon at the equator on the equinox of 20 March 2026 (14:46 UTC): nearly overhead.
        (datetime(2026, 3, 20, 12, 7, 30, tzinfo=UTC), 0.0, 0.0, 89.9, None),
    ],
)
def test_check_values(at: datetime, lat: float, lon: float, elevation: float, azimuth: float | None) -> None:
    found = position_deg(at.timestamp(), lat, lon)
    assert found[0] == pytest.approx(elevation, abs=0.1)
    if azimuth is not None:
        assert found[1] == pytest.approx(azimuth, abs=0.1)


@pytest.mark.parametrize(
    ("clock", "limit"), [((18, 8, 30), 5.0), ((18, 42, 0), -0.833)], ids=["through 5 degrees", "sunset"]
)
def test_falls_through_a_height_at_the_worked_minute(clock: tuple[int, int, int], limit: float) -> None:
    at = datetime(2026, 10, 20, *clock, tzinfo=CENTRAL_SUMMER)
    before, after = (position_deg((at + timedelta(seconds=s)).timestamp(), 43.1, -98.2)[0] for s in (-60, 60))
    assert before > limit > after


def noaa_position(at: datetime, lat: float, lon: float) -> tuple[float, float]:
    """The series of the NOAA solar calculator (Meeus, Astronomical Algorithms, ch. 25), from memory."""
    century = (at.timestamp() / 86400.0 + 2440587.5 - 2451545.0) / 36525.0
    mean_longitude = (280.46646 + century * (36000.76983 + century * 0.0003032)) % 360
    anomaly = math.radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    centre = math.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
    centre += math.sin(2 * anomaly) * (0.019993 - 0.000101 * century) + math.sin(3 * anomaly) * 0.000289
    node = math.radians(125.04 - 1934.136 * century)
    longitude = math.radians(mean_longitude + centre - 0.00569 - 0.00478 * math.sin(node))
    tilt = math.radians(23.439291 - 0.0130042 * century + 0.00256 * math.cos(node))
    declination = math.asin(math.sin(tilt) * math.sin(longitude))
    ascension = math.degrees(math.atan2(math.cos(tilt) * math.sin(longitude), math.cos(longitude)))
    days = at.timestamp() / 86400.0 + 2440587.5 - 2451545.0
    hour = math.radians((280.46061837 + 360.98564736629 * days + lon - ascension) % 360)
    phi = math.radians(lat)
    height = math.asin(
        math.sin(phi) * math.sin(declination) + math.cos(phi) * math.cos(declination) * math.cos(hour)
    )
    azimuth = math.atan2(
        math.sin(hour), math.cos(hour) * math.sin(phi) - math.tan(declination) * math.cos(phi)
    )
    return math.degrees(height), (math.degrees(azimuth) + 180) % 360


@given(st.integers(1_704_067_200, 2_240_524_800), st.floats(-66, 66), st.floats(-180, 180))
def test_agrees_with_another_series_to_a_tenth_of_a_degree(at_s: int, lat: float, lon: float) -> None:
    at = datetime.fromtimestamp(at_s, tz=UTC)
    found, other = position_deg(at.timestamp(), lat, lon), noaa_position(at, lat, lon)
    assert found[0] == pytest.approx(other[0], abs=0.1)
    if abs(other[0]) < 80:
        turn = (found[1] - other[1] + 180) % 360 - 180
        assert abs(turn) * math.cos(math.radians(other[0])) < 0.1
