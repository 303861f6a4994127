"""Charts: the same data give the same bytes; what counts, what does not and gaps differ without colour."""

import re
from typing import Any

import pytest

from jobs.packets.pages.charts import MOST_POINTS, Chart, _thinned, chart_for
from jobs.packets.plots import draw
from tests.jobs.packets.packet_case import Store, context_of, finished


@pytest.fixture
def charts(store: Store) -> dict[str, Chart]:
    context = context_of(finished(store))
    found = {}
    for finding in context.assessment.findings:
        chart = chart_for(context, finding, finding.check)
        if chart is not None:
            found[finding.check] = chart
    return found


def test_three_checks_have_a_chart(charts: dict[str, Chart]) -> None:
    assert set(charts) == {"drive_log", "voltage_log", "adhesive_ready"}
    for chart in charts.values():
        assert chart.sentence
        assert chart.rows


def test_the_drive_chart_tells_the_counted_seconds(charts: dict[str, Chart]) -> None:
    parts = charts["drive_log"].data["stretches"]
    counted = [part["end"] - part["start"] for part in parts if part["kind"] == "counts"]
    assert counted == [341.0, 233.0, 145.0]
    assert sum(part["end"] - part["start"] for part in parts) == 943.0
    assert [row[2] for row in charts["drive_log"].rows if row[3] == "counts"] == ["341 s", "233 s", "145 s"]


@pytest.mark.parametrize("name", ["drive_log", "voltage_log", "adhesive_ready"])
def test_the_same_data_give_the_same_bytes(name: str, charts: dict[str, Chart]) -> None:
    data = charts[name].data
    first = draw(data)
    assert draw(data) == first
    assert b"<dc:date>" not in first
    assert first.startswith(b"<?xml")


def grey(colour: str) -> float:
    """Share of white of a #rrggbb colour, by the luma weights of ITU-R BT.601."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return (0.299 * red + 0.587 * green + 0.114 * blue) / 255


def test_counted_and_hatched_differ_in_grey(charts: dict[str, Chart]) -> None:
    svg = draw(charts["drive_log"].data).decode()
    assert "<pattern" in svg or "hatch" in svg
    fills = {match.lower() for match in re.findall(r"fill: (#[0-9a-fA-F]{6})", svg)}
    assert "#163f86" in fills
    assert "#c3cfe6" in fills
    assert grey("#163f86") < 0.35 < grey("#c3cfe6") < 0.85


def test_thinning_keeps_every_peak() -> None:
    points = [(float(i), 13.0) for i in range(3 * MOST_POINTS)]
    points[777], points[9001] = (777.0, 11.2), (9001.0, 15.9)
    kept = _thinned(points)
    assert len(kept) <= MOST_POINTS
    assert (777.0, 11.2) in kept
    assert (9001.0, 15.9) in kept
    assert kept == sorted(kept)


def test_nothing_is_drawn_of_a_log_that_runs_backwards(store: Store) -> None:
    source = finished(store)
    context: Any = context_of(source)
    finding = next(f for f in source.assessment.findings if f.check == "drive_log")
    log = source.facts.drive_logs[0]
    object.__setattr__(log, "fixes", tuple(reversed(log.fixes)))
    assert chart_for(context, finding, "x") is None
