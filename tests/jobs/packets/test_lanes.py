"""The drawn time line: nothing leaves its frame, labels lie apart, slow clocks and orders are told."""

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

from jobs.packets.pages.clocks import clocks_of, with_names
from jobs.packets.pages.lanes import LEFT, LETTER, PRINT, RIGHT, SCREEN, WIDE, Mark, day_drawings
from jobs.packets.pages.line_page import line_page
from jobs.packets.pages.orders import orders_of
from jobs.packets.pages.page import packet_page
from jobs.packets.pages.worked.desk import Desk
from rules.facts import JobFacts, Moment
from tests.jobs.packets.packet_case import Store, context_of, finished
from tests.rules.packs_on_file import packs_on_file


def extent(mark: Mark) -> tuple[float, float]:
    """From where to where the label reaches."""
    wide = len(mark.label) * LETTER
    return (
        (mark.label_x, mark.label_x + wide) if mark.anchor == "start" else (mark.label_x - wide, mark.label_x)
    )


def test_marks_and_labels_stay_inside_and_apart(store: Store) -> None:
    context = context_of(finished(store))
    clocks = clocks_of(context.facts)
    drawings = day_drawings(context.facts, clocks, orders_of(Desk(context))[0])
    assert drawings
    for day in drawings:
        for lane in day.lanes:
            assert lane.top + lane.height <= day.height
            by_row: dict[float, list[Mark]] = {}
            for mark in lane.marks:
                assert LEFT <= mark.x1 <= mark.x2 <= RIGHT + 2
                assert lane.top < mark.y < lane.top + lane.height
                if mark.label:
                    by_row.setdefault(mark.y, []).append(mark)
            for row in by_row.values():
                ends = sorted(extent(mark) for mark in row)
                assert all(low >= 0 and high <= WIDE + 10 for low, high in ends)
                assert all(a[1] <= b[0] for a, b in pairwise(ends))


def off_by(facts: JobFacts, seconds: float) -> JobFacts:
    """The first photo taken by another device, whose clock is slow by that much."""
    photo = facts.photos[0]
    taken = photo.captured
    late = timedelta(seconds=seconds)
    other = Moment(low=taken.low, high=taken.high, reading=taken.low - late, clock="device:abcdef01-22@0")
    return replace(facts, photos=(replace(photo, captured=other), *facts.photos[1:]))


def test_a_slow_clock_is_told_and_what_it_showed_is_drawn(store: Store) -> None:
    facts = off_by(finished(store).facts, 1800)
    named = [SimpleNamespace(id="abcdef01-22", name="Phone of the glass shop")]
    clocks = clocks_of(facts, named)
    clock = next(item for item in clocks if item.name == "Phone of the glass shop")
    assert clock.known == "30 min slow, within 1 s"
    lane = next(lane for day in day_drawings(facts, clocks) for lane in day.lanes if lane.name == clock.name)
    assert lane.marks[0].raw_x is not None
    assert lane.marks[0].raw_x < lane.marks[0].x1
    assert (
        with_names("The clock of device abcdef01 showed", clocks)
        == "The clock of Phone of the glass shop showed"
    )
    assert clocks_of(facts)[-1].name.startswith(("device ", "portal", "satellite"))


def test_packet_and_page_are_one_drawing_in_two_palettes(store: Store) -> None:
    source = finished(store)
    context = context_of(source)
    page = line_page(source, packs_on_file().editions, ())
    clocks = clocks_of(context.facts)
    assert page["drawings"] == day_drawings(context.facts, clocks, orders_of(Desk(context))[0])
    assert set(PRINT) == set(SCREEN)
    assert all(value.startswith(("var(", "inherit")) for value in SCREEN.values())
    html = packet_page(context).html
    assert '<figure class="lanes"><svg' in html
    assert "<title>Drawing of" in html


def test_every_order_that_a_pack_asks_for_is_told(store: Store) -> None:
    shown = orders_of(Desk(context_of(finished(store))))[1]
    assert len(shown) >= 5
    assert {one.truth for one in shown} == {"true"}


def test_the_templates_lie_where_both_find_them() -> None:
    line = Path("portal/templates/times/line.html").read_text(encoding="utf-8")
    packet = Path("jobs/packets/templates/packet/time_line.html").read_text(encoding="utf-8")
    assert "packet/lanes.html" in line
    assert "packet/lanes.html" in packet
