"""Lamps, statements, functions, targets, changes of state, sublet trips, and glass."""

from typing import Any

import pytest

from jobs.errors import NotAllowed, Refused
from jobs.models import (
    FunctionCheck,
    GlassSet,
    Job,
    LampRecord,
    OperationDone,
    Session,
    StateChange,
    Statement,
    SubletOrder,
    TargetIdentity,
)
from jobs.services import estimate, glass, records, session
from jobs.services.glass import BatchEntry, GlassSetEntry
from jobs.services.odometer import Odometer
from jobs.services.records import (
    FunctionCheckEntry,
    LampEntry,
    StateChangeEntry,
    StatementEntry,
    SubletEntry,
    TargetEntry,
)
from tests.jobs.shop import Shop, new_id


@pytest.fixture
def drive(shop: Shop, job: Job) -> Session:
    return session.start_session(
        job=job,
        actor=shop.actor("itolvaar"),
        as_of=shop.at("10:30:05"),
        entry=session.SessionEntry(
            id=new_id(),
            procedure_id="OV-FC-ROAD",
            started_at=shop.text("10:30"),
            capture_device=shop.tablet.pk,
        ),
    )


def call(shop: Shop, job: Job, service: Any, entry: Any, login: str = "itolvaar") -> Any:
    return service(job=job, actor=shop.actor(login), as_of=shop.at("11:00"), entry=entry)


def refused_code(shop: Shop, job: Job, service: Any, entry: Any) -> tuple[str, object]:
    with pytest.raises(Refused) as refusal:
        call(shop, job, service, entry)
    return refusal.value.code, refusal.value.extra["field"]


def lamps(shop: Shop, **fields: Any) -> LampEntry:
    return LampEntry(**({"id": new_id(), "states": {"airbag": "unlit"}, "at": shop.text("10:55")} | fields))


def test_lamps(shop: Shop, job: Job, drive: Session) -> None:
    kept = call(
        shop, job, records.record_lamps, lamps(shop, session=drive.pk, states={"lane_symbol": "filled"})
    )
    assert (kept.states, kept.session, kept.seen_by.login) == ({"lane_symbol": "filled"}, drive, "itolvaar")
    for states, code in (
        ({}, "states_empty"),
        ({"radio": "lit"}, "unknown_lamp"),
        ({"airbag": "on"}, "bad_choice"),
    ):
        assert refused_code(shop, job, records.record_lamps, lamps(shop, states=states))[0] == code
    assert refused_code(shop, job, records.record_lamps, lamps(shop, session=new_id())) == (
        "unknown_reference",
        "session",
    )
    assert LampRecord.objects.count() == 1


def statement(shop: Shop, **fields: Any) -> StatementEntry:
    given: dict[str, Any] = {
        "id": new_id(),
        "says": ("dry_road",),
        "at": shop.text("10:55"),
        "text_version": "road-2",
    }
    return StatementEntry(**(given | fields))


def test_statements(shop: Shop, job: Job, drive: Session) -> None:
    kept = call(
        shop, job, records.record_statement,
        statement(shop, session=drive.pk, sessions=(drive.pk,), denies=("no_heavy_spray",), bay="EM-B2"),
    )  # fmt: skip
    assert (kept.says, kept.denies, kept.sessions) == (["dry_road"], ["no_heavy_spray"], [str(drive.pk)])
    for fields, expected in (
        ({"says": ()}, ("statement_empty", "says")),
        ({"denies": ("dry_road",)}, ("says_and_denies", "denies")),
        ({"says": ("Dry road",)}, ("bad_name", "says[0]")),
        ({"sessions": (new_id(),)}, ("unknown_reference", "sessions")),
        ({"bay": "XX"}, ("unknown_reference", "bay")),
        ({"text_version": ""}, ("text_length", "text_version")),
    ):
        assert refused_code(shop, job, records.record_statement, statement(shop, **fields)) == expected
    assert Statement.objects.count() == 1


def test_function_checks(shop: Shop, job: Job, drive: Session) -> None:
    def entry(**fields: Any) -> FunctionCheckEntry:
        given: dict[str, Any] = {
            "id": new_id(), "session": drive.pk, "function": "Lane Departure Warning",
            "shows": "reacts_on_road", "at": shop.text("10:55"),
        }  # fmt: skip
        return FunctionCheckEntry(**(given | fields))

    kept = call(shop, job, records.record_function_check, entry(place="left"))
    assert (kept.function, kept.shows, kept.place) == ("lane departure warning", "reacts_on_road", "left")
    for fields, expected in (
        ({"function": "warp drive"}, ("bad_choice", "function")),
        ({"shows": "fine"}, ("bad_choice", "shows")),
        ({"session": new_id()}, ("unknown_reference", "session")),
    ):
        assert refused_code(shop, job, records.record_function_check, entry(**fields)) == expected
    assert FunctionCheck.objects.count() == 1


def test_target_identities(shop: Shop, job: Job) -> None:
    entry = TargetEntry(
        id=new_id(), number_read="OV-TB-07", right_way_up=False, clean=True, at=shop.text("10:20")
    )
    kept = call(shop, job, records.record_target_identity, entry)
    assert (kept.number_read, kept.right_way_up, kept.is_clean) == ("OV-TB-07", False, True)
    assert TargetIdentity.objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "on_road", "code"),
    [
        ("vehicle_moved", True, ""),
        ("wheel_removed", False, ""),
        ("wheel_removed", True, "on_road_without_move"),
        ("car_washed", False, "bad_choice"),
    ],
)
def test_changes_of_state(shop: Shop, job: Job, kind: str, on_road: bool, code: str) -> None:
    entry = StateChangeEntry(id=new_id(), kind=kind, on_road=on_road, at=shop.text("10:20"))
    if code:
        assert refused_code(shop, job, records.record_state_change, entry)[0] == code
        assert not StateChange.objects.exists()
    else:
        assert call(shop, job, records.record_state_change, entry).on_road is on_road


def test_sublet_trips(shop: Shop, job: Job) -> None:
    def entry(**fields: Any) -> SubletEntry:
        given: dict[str, Any] = {
            "id": new_id(), "to_org": "Sallowfield Mobile Aiming", "procedure_ids": ("OV-FR-STILL",),
            "carried_how": "driven", "out_at": shop.text("09:00"), "back_at": shop.text("10:00"),
            "out_odometer": Odometer(value="21010", unit="km"),
        }  # fmt: skip
        return SubletEntry(**(given | fields))

    kept = call(shop, job, records.record_sublet, entry())
    assert (kept.carried_how, kept.out_odometer["value"]) == ("driven", "21010")
    for fields, expected in (
        ({"carried_how": "flown"}, ("bad_choice", "carried_how")),
        ({"procedure_ids": ()}, ("list_empty", "procedure_ids")),
        ({"back_at": shop.text("08:59")}, ("times_backwards", "back_at")),
        ({"back_odometer": Odometer(value="x", unit="km")}, ("bad_number", "back_odometer.value")),
        ({"returned_lamps": {"radio": "lit"}}, ("unknown_lamp", "returned_lamps.radio")),
    ):
        assert refused_code(shop, job, records.record_sublet, entry(**fields)) == expected
    assert SubletOrder.objects.count() == 1


@pytest.fixture
def windshield(shop: Shop, job: Job) -> OperationDone:
    return estimate.record_operation(
        job=job,
        actor=shop.actor("mondry"),
        as_of=shop.at("09:00"),
        entry=estimate.OperationEntry(
            id=new_id(),
            operation="glass.windshield.replaced",
            done_at=shop.text("08:40"),
            device=shop.tablet.pk,
        ),
    )


def pane(shop: Shop, done: OperationDone, **fields: Any) -> GlassSetEntry:
    given: dict[str, Any] = {
        "id": new_id(), "operation": done.pk, "set_at": "08:40", "glass_maker": "Stavel",
        "glass_part_number": "SG-1180", "at": shop.text("08:50"), "device": shop.tablet.pk,
        "adhesive": BatchEntry(product="Tarvek U-60", batch="B7", expires_on="2026-09-30"),
    }  # fmt: skip
    return GlassSetEntry(**(given | fields))


def test_glass_is_set_by_those_who_set_glass(shop: Shop, job: Job, windshield: OperationDone) -> None:
    with pytest.raises(NotAllowed):
        call(shop, job, glass.record_glass_set, pane(shop, windshield), "tachterly")
    kept = call(shop, job, glass.record_glass_set, pane(shop, windshield), "mondry")
    assert (kept.set_at.text, kept.set_at.reading, kept.set_by.login) == ("08:40", shop.at("08:40"), "mondry")
    assert kept.adhesive == {"product": "Tarvek U-60", "batch": "B7", "expires_on": "2026-09-30"}


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"operation": new_id()}, ("unknown_reference", "operation")),
        ({"set_at": "8:40"}, ("bad_instant", "set_at")),
        ({"set_at": "2026-05-05T08:50:01-05:00"}, ("set_after_record", "set_at")),
        ({"climate_log": new_id()}, ("unknown_reference", "climate_log")),
        ({"set_by": "nobody"}, ("unknown_reference", "set_by")),
        (
            {"primer": BatchEntry(product="P", batch="1", expires_on="soon")},
            ("bad_date", "primer.expires_on"),
        ),
        ({"glass_maker": ""}, ("text_length", "glass_maker")),
    ],
)
def test_faulty_settings_leave_nothing(
    shop: Shop, job: Job, windshield: OperationDone, fields: dict[str, Any], expected: tuple[str, str]
) -> None:
    with pytest.raises(Refused) as refusal:
        call(shop, job, glass.record_glass_set, pane(shop, windshield, **fields), "mondry")
    assert (refusal.value.code, refusal.value.extra["field"]) == expected
    assert not GlassSet.objects.exists()
