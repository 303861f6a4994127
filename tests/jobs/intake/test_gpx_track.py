"""GPX 1.1: a real car track with a second opinion, and every refusal."""

from datetime import UTC
from itertools import pairwise
from pathlib import Path

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic

from jobs.errors import Refused
from jobs.intake.gpx_track import TRACK_NAMESPACE, read_gpx

REAL = Path(__file__).parents[2] / "reference" / "around-visnjan-with-car.gpx"
HEAD = '<?xml version="1.0"?>\n<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'


def gpx(points: str, head: str = HEAD) -> bytes:
    return f"{head}<trk><trkseg>{points}</trkseg></trk></gpx>".encode()


def point(lat: str = "43.1", lon: str = "-98.2", time: str = "2026-05-05T15:34:00Z", more: str = "") -> str:
    return f'<trkpt lat="{lat}" lon="{lon}"><ele>310</ele><time>{time}</time>{more}</trkpt>'


def speed(text: str) -> str:
    return f'<extensions><speed_kph xmlns="{TRACK_NAMESPACE}">{text}</speed_kph></extensions>'


def code_of(data: bytes) -> str:
    with pytest.raises(Refused) as refusal:
        read_gpx(data, None)
    return refusal.value.code


def test_real_car_track_against_gpxpy() -> None:
    """Outside check: the points of a real drive, as read by gpxpy 1.6.2 (104 points, 514 s, 2736.300 m)."""
    data = REAL.read_bytes()
    facts, notes = read_gpx(data, None)
    track = gpxpy.parse(data.decode())
    theirs = [
        (p.time.astimezone(UTC).timestamp(), p.latitude, p.longitude)
        for p in track.tracks[0].segments[0].points
        if p.time is not None
    ]
    assert [fix[:3] for fix in facts["fixes"]] == theirs
    assert len(theirs) == 104
    assert theirs[-1][0] - theirs[0][0] == 514.0
    assert track.length_2d() == pytest.approx(2736.300, abs=0.0005)
    assert notes == []


def test_real_car_track_length_by_geodesic() -> None:
    """Outside check: geodesic length by geographiclib 2.1, 2736.001 m."""
    facts, _ = read_gpx(REAL.read_bytes(), None)
    length = sum(Geodesic.WGS84.Inverse(a[1], a[2], b[1], b[2])["s12"] for a, b in pairwise(facts["fixes"]))
    assert length == pytest.approx(2736.001, abs=0.0005)


def test_segments_and_tracks_follow_each_other() -> None:
    data = (
        HEAD
        + "<trk><trkseg>"
        + point()
        + "</trkseg><trkseg/><trkseg>"
        + point(time="2026-05-05T15:34:01Z")
        + "</trkseg></trk><trk><trkseg>"
        + point(time="2026-05-05T15:34:02.25Z")
        + "</trkseg></trk></gpx>"
    )
    facts, _ = read_gpx(data.encode(), None)
    assert [fix[0] - facts["fixes"][0][0] for fix in facts["fixes"]] == [0, 1, 2.25]


def test_own_extensions_give_speed_course_and_accuracy() -> None:
    more = (
        f'<extensions><x:speed_kph xmlns:x="{TRACK_NAMESPACE}">41.25</x:speed_kph>'
        f'<x:course_deg xmlns:x="{TRACK_NAMESPACE}">360</x:course_deg>'
        '<y:speed_kph xmlns:y="urn:other">99</y:speed_kph></extensions>'
    )
    facts, _ = read_gpx(gpx(point(more=more)), None)
    assert facts["fixes"][0][3:] == (41.25, 0.0, None)


def test_foreign_extensions_are_not_guessed() -> None:
    more = '<extensions><y:speed xmlns:y="urn:other">11</y:speed><speed>12</speed></extensions>'
    facts, _ = read_gpx(gpx(point(more=more)), None)
    assert facts["fixes"][0][3:] == (None, None, None)


@pytest.mark.parametrize(
    ("points", "code"),
    [
        (point(lat="NaN"), "log_out_of_range"),
        (point(lat="nan"), "log_out_of_range"),
        (point(lon="INF"), "log_out_of_range"),
        (point(lon="181"), "log_out_of_range"),
        (point(lat="-90.0001"), "log_out_of_range"),
        (point(lat="43,1"), "number_format"),
        (point(lat=""), "number_format"),
        (point(lat="0x2B"), "number_format"),
        ("<trkpt lat='43'><time>2026-05-05T15:34:00Z</time></trkpt>", "number_format"),
        ("<trkpt lat='43' lon='-98'/>", "time_missing"),
        (point(time="2026-05-05T15:34:00"), "time_format"),
        (point(time=""), "time_format"),
        (point(time="1901-12-13T20:45:52Z"), "log_out_of_range"),
        (point() + point(), "log_time_order"),
        (point() + point(time="2026-05-05T15:33:59Z"), "log_time_order"),
        (point(more=speed("-1")), "log_out_of_range"),
        (point(more=speed("fast")), "number_format"),
        ("", "log_empty"),
        ("<trkpt", "xml_unreadable"),
        ("<trkpt lat='1' lat='2'/>", "xml_unreadable"),
        ("&undeclared;", "xml_unreadable"),
        ("<a>" * 40 + "</a>" * 40, "xml_too_deep"),
    ],
)
def test_refusals(points: str, code: str) -> None:
    assert code_of(gpx(points)) == code


@pytest.mark.parametrize(
    "head",
    [
        '<gpx version="1.0" xmlns="http://www.topografix.com/GPX/1/0">',
        '<gpx version="1.1">',
        '<kml xmlns="http://www.topografix.com/GPX/1/1">',
    ],
)
def test_other_versions(head: str) -> None:
    data = f"{head}<trk/></{head[1:4]}>".encode()
    assert code_of(data) == "gpx_version"


@pytest.mark.parametrize("depth", [200, 200_000])
def test_depth_is_bounded_before_memory(depth: int) -> None:
    assert code_of(HEAD.encode() + b"<a>" * depth) == "xml_too_deep"


@pytest.mark.parametrize(
    "doctype",
    [
        '<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>',
        '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE gpx SYSTEM "http://127.0.0.1/x.dtd">',
        "<!DOCTYPE gpx>",
    ],
)
def test_document_types_are_forbidden(doctype: str) -> None:
    data = gpx(point()).replace(b'<?xml version="1.0"?>', doctype.encode())
    assert code_of(data) == "xml_entities_forbidden"


def test_unknown_encoding() -> None:
    data = gpx(point()).replace(b'version="1.0"?', b'version="1.0" encoding="martian"?')
    assert code_of(data) == "xml_unreadable"
