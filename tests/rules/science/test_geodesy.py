"""Distances on the sphere against WGS 84 geodesics, and a real car track against gpxpy and geographiclib."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from rules.facts import Fix
from rules.science.geodesy import course_deg, destination, distance_m, wrapped_deg
from rules.science.motion import motion, times_increase

REFERENCE = Path(__file__).parents[2] / "reference"
PAIRS: list[dict[str, Any]] = json.loads((REFERENCE / "wgs84_distances.json").read_text())["pairs"]
TRACK = REFERENCE / "around-visnjan-with-car.gpx"  # Apache-2.0, see the .source.txt beside it


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: str(pair["name"]))
def test_within_six_per_mille_of_the_ellipsoid(pair: dict[str, Any]) -> None:
    # Geodesics by geographiclib 2.1.
    found = distance_m(pair["lat1"], pair["lon1"], pair["lat2"], pair["lon2"])
    assert found == pytest.approx(pair["s12_m"], rel=0.006)
    assert found == pytest.approx(pair["haversine_m"], rel=1e-8)


@pytest.mark.parametrize(
    ("lat", "lon", "metres"), [(43.1021, -98.2, 234), (43.1265, -98.1640, 4150), (43.1, -98.2, 0)]
)
def test_worked_distances_from_the_shop(lat: float, lon: float, metres: float) -> None:
    assert distance_m(43.1, -98.2, lat, lon) == pytest.approx(metres, abs=1)


@given(st.floats(-75, 75), st.floats(-179, 179), st.floats(0, 360, exclude_max=True), st.floats(1, 50_000))
def test_destination_undoes_distance_and_course(
    lat: float, lon: float, towards: float, length: float
) -> None:
    there = destination(lat, lon, towards, length)
    assert distance_m(lat, lon, *there) == pytest.approx(length, rel=1e-6, abs=1e-3)
    assert abs(wrapped_deg(course_deg(lat, lon, *there) - towards)) < 0.01


@given(st.floats(-80, 80), st.floats(-180, 180), st.floats(-0.2, 0.2), st.floats(-0.2, 0.2))
def test_course_agrees_with_the_ellipsoid(lat: float, lon: float, north: float, east: float) -> None:
    line = Geodesic.WGS84.Inverse(lat, lon, lat + north, lon + east)
    if line["s12"] < 100:
        return
    found = course_deg(lat, lon, lat + north, lon + east)
    assert abs(wrapped_deg(found - line["azi1"])) < 0.3


@pytest.mark.parametrize(
    ("angle", "wrapped"), [(0, 0), (180, -180), (-180, -180), (181, -179), (359, -1), (540, -180), (-1, -1)]
)
def test_wrapping(angle: float, wrapped: float) -> None:
    assert wrapped_deg(angle) == wrapped


def test_across_the_date_line() -> None:
    assert distance_m(0, 179.5, 0, -179.5) == pytest.approx(distance_m(0, 0, 0, 1), rel=1e-9)
    assert course_deg(0, 179.5, 0, -179.5) == pytest.approx(90)


def real_track() -> tuple[Fix, ...]:
    space = {"g": "http://www.topografix.com/GPX/1/1"}
    points = ElementTree.parse(TRACK).getroot().iterfind(".//g:trkpt", space)  # noqa: S314 - our own test file
    track = gpxpy.parse(TRACK.read_text(encoding="utf-8")).tracks[0].segments[0]
    times = [point.time.timestamp() for point in track.points]
    return tuple(
        Fix(t=t, lat=float(point.attrib["lat"]), lon=float(point.attrib["lon"]))
        for t, point in zip(times, points, strict=True)
    )


def test_a_real_car_track_against_gpxpy_and_geographiclib() -> None:
    fixes = real_track()
    assert len(fixes) == 104
    assert times_increase(fixes)
    length = sum(motion(fixes, 3.0).lengths_m)
    gpx = gpxpy.parse(TRACK.read_text(encoding="utf-8"))
    assert length == pytest.approx(gpx.length_2d(), rel=0.006)
    geodesic = sum(Geodesic.WGS84.Inverse(a.lat, a.lon, b.lat, b.lon)["s12"] for a, b in pairwise(fixes))
    assert length == pytest.approx(geodesic, rel=0.006)
    row = next(
        row
        for row in json.loads((REFERENCE / "gpxpy_sample_tracks.json").read_text())["rows"]
        if row["file"] == TRACK.name
    )
    assert length == pytest.approx(row["length2d"], rel=0.006)
    assert fixes[-1].t - fixes[0].t == row["duration"]


def test_speeds_of_the_real_track_against_gpxpy() -> None:
    fixes = real_track()
    found = motion(fixes, 60.0)
    segment = gpxpy.parse(TRACK.read_text(encoding="utf-8")).tracks[0].segments[0]
    # gpxpy averages the speeds of both sides, ours divides way by time: the same where steps are even.
    even = [
        place
        for place in range(1, len(fixes) - 1)
        if fixes[place].t - fixes[place - 1].t == fixes[place + 1].t - fixes[place].t
    ]
    apart = sorted(
        abs(found.speeds_kph[place] / 3.6 - (segment.get_speed(place) or 0.0))
        / (segment.get_speed(place) or 1.0)
        for place in even
    )
    assert len(even) >= 15
    assert apart[len(apart) // 2] < 0.03
    assert apart[-1] < 0.35
    assert all(0 <= course < 360 for course in found.courses_deg)
