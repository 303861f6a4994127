"""Chapter 7: local and UTC times in order, corrected beside raw, records of one moment told once."""

from dataclasses import replace
from datetime import timedelta

from jobs.packets.pages.time_line import time_line
from tests.rules.windshield_job import windshield_job

JOB = windshield_job()


def rows(facts=JOB):
    return [row for day in time_line(facts) for row in day.rows]


def setting_row(facts):
    return next(row for row in rows(facts) if row.name == "Setting of the glass")


def test_local_and_utc_stand_side_by_side_with_the_zone_of_the_day():
    """CDT is five hours behind UTC (tz database, America/Chicago in May)."""
    assert "CDT (UTC−5)" in time_line(JOB)[-1].head
    for row in rows():
        local, utc = row.local[:2], row.utc.split(" ")[1][:2]
        assert (int(local) + 5) % 24 == int(utc), row


def test_a_bracket_is_told_by_both_ends_and_the_raw_time_stays():
    glass = JOB.glass_sets[0]
    moment = replace(
        glass.set_at,
        clock="device:1555c1f2-0000",
        low=glass.set_at.reading - timedelta(minutes=2),
        high=glass.set_at.reading + timedelta(minutes=3),
    )
    row = setting_row(replace(JOB, glass_sets=(replace(glass, set_at=moment),)))
    assert " to " in row.local
    assert " to " in row.utc
    assert row.shown == setting_row(JOB).shown
    assert row.clock == "device 1555c1f2"


def test_a_device_goes_by_its_name_where_it_is_known():
    glass = JOB.glass_sets[0]
    moment = replace(glass.set_at, clock="device:1555c1f2-0000")
    days = time_line(
        replace(JOB, glass_sets=(replace(glass, set_at=moment),)), {"device 1555c1f2": "tablet-em-1"}
    )
    assert "tablet-em-1" in {row.clock for day in days for row in day.rows}


def test_records_of_one_name_and_moment_are_counted_and_none_is_lost():
    assert sum(row.count for row in rows()) >= len(JOB.readings) + len(JOB.photos)
    told = [(row.name, row.local, row.utc, row.shown, row.clock, row.doubtful) for row in rows()]
    assert len(told) == len(set(told))
    assert any(row.count > 1 for row in rows())
