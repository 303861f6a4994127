"""Estimate lines, operations, and the closing of their list."""

from typing import Any

import pytest

from jobs.errors import Conflict, NotAllowed, Refused, VersionConflict
from jobs.models import EstimateLine, EstimateMapping, Job, OperationDone, OperationsClosing
from jobs.services import estimate
from jobs.services.estimate import ClosingEntry, LineEntry, MappingEntry, OperationEntry
from tests.factories import PersonFactory
from tests.jobs.shop import Shop, new_id


def add_line(shop: Shop, job: Job, line_no: int = 1, text: str = "R&R windshield") -> EstimateLine:
    return estimate.add_line(
        job=job,
        actor=shop.actor("tachterly"),
        as_of=shop.at("08:00"),
        entry=LineEntry(id=new_id(), line_no=line_no, text=text),
    )


def map_line(shop: Shop, job: Job, line: EstimateLine, **fields: Any) -> EstimateLine:
    return estimate.map_line(
        job=job,
        line=line,
        actor=shop.actor("tachterly"),
        as_of=shop.at("08:01"),
        entry=MappingEntry(**({"version": 0} | fields)),
    )


def close(shop: Shop, job: Job) -> OperationsClosing:
    return estimate.close_operations(
        job=job, actor=shop.actor("tachterly"), as_of=shop.at("08:02"), entry=ClosingEntry(id=new_id())
    )


def record(shop: Shop, job: Job, operation: str, **fields: Any) -> OperationDone:
    given: dict[str, Any] = {"done_at": shop.text("08:40"), "device": shop.tablet.pk} | fields
    return estimate.record_operation(
        job=job,
        actor=shop.actor("mondry"),
        as_of=shop.at("08:45"),
        entry=OperationEntry(id=given.pop("id", new_id()), operation=operation, **given),
    )


def standing(job: Job) -> bool:
    return OperationsClosing.objects.filter(job=job, ended_at__isnull=True).exists()


def test_closing_is_refused_with_unmapped_lines(shop: Shop, job: Job) -> None:
    first, second = add_line(shop, job, 1), add_line(shop, job, 2, "Shop supplies")
    map_line(shop, job, first, operations=("glass.windshield.replaced",))
    with pytest.raises(Conflict) as conflict:
        close(shop, job)
    assert (conflict.value.code, conflict.value.extra["lines"]) == ("lines_unmapped", [2])
    map_line(shop, job, second, touches_nothing=True)
    closing = close(shop, job)
    job.refresh_from_db()
    assert (closing.closed_by.login, job.plan_fixed_at) == ("tachterly", shop.at("08:02"))


def test_only_people_of_the_floor_close_the_list(shop: Shop, job: Job) -> None:
    shop.people["jquell"] = PersonFactory.create(organisation=shop.organisation, roles=["auditor"])
    with pytest.raises(NotAllowed):
        estimate.close_operations(
            job=job, actor=shop.actor("jquell"), as_of=shop.at("08:02"), entry=ClosingEntry(id=new_id())
        )
    assert close(shop, job).pk


def test_a_list_is_closed_once(shop: Shop, job: Job) -> None:
    close(shop, job)
    with pytest.raises(Conflict) as conflict:
        close(shop, job)
    assert conflict.value.code == "already_closed"


def test_a_repeated_closing_is_the_same_closing(shop: Shop, job: Job) -> None:
    entry, actor = ClosingEntry(id=new_id()), shop.actor("tachterly")
    first = estimate.close_operations(job=job, actor=actor, as_of=shop.at("08:02"), entry=entry)
    again = estimate.close_operations(job=job, actor=actor, as_of=shop.at("08:03"), entry=entry)
    assert (first.pk, again.received_at) == (again.pk, shop.at("08:02"))


def test_two_tablets_map_the_same_line(shop: Shop, job: Job) -> None:
    line = add_line(shop, job)
    mapped = map_line(shop, job, line, operations=("glass.windshield.replaced",))
    assert mapped.version == 1
    with pytest.raises(VersionConflict):
        map_line(shop, job, line, touches_nothing=True)
    map_line(shop, job, line, version=1, operations=("glass.windshield.refitted",))
    assert [row.version for row in EstimateMapping.objects.order_by("version")] == [1, 2]
    assert estimate.planned_operations(job) == {"glass.windshield.refitted"}


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({}, "mapping_empty"),
        ({"operations": ("glass.windshield.replaced",), "touches_nothing": True}, "mapping_both"),
        ({"operations": ("glass.windscreen.replaced",)}, "unknown_operation"),
        ({"operations": ("x.",)}, "unknown_operation"),
        ({"operations": ("x.trailer_hitch.fitted",)}, ""),
    ],
)
def test_what_a_mapping_may_say(shop: Shop, job: Job, fields: dict[str, Any], code: str) -> None:
    line = add_line(shop, job)
    if not code:
        assert map_line(shop, job, line, **fields).version == 1
        return
    with pytest.raises(Refused) as refusal:
        map_line(shop, job, line, **fields)
    assert refusal.value.code == code
    line.refresh_from_db()
    assert line.version == 0


@pytest.mark.parametrize(("line_no", "code"), [(0, "bad_number"), (10_001, "bad_number"), (10_000, "")])
def test_line_numbers(shop: Shop, job: Job, line_no: int, code: str) -> None:
    if not code:
        assert add_line(shop, job, line_no).line_no == line_no
        return
    with pytest.raises(Refused) as refusal:
        add_line(shop, job, line_no)
    assert refusal.value.code == code


def test_a_line_number_is_used_once(shop: Shop, job: Job) -> None:
    add_line(shop, job, 1)
    with pytest.raises(Conflict) as conflict:
        add_line(shop, job, 1)
    assert conflict.value.code == "line_number_taken"


def test_doing_what_was_planned_leaves_the_list_closed(shop: Shop, job: Job) -> None:
    map_line(shop, job, add_line(shop, job), operations=("glass.windshield.replaced",))
    close(shop, job)
    record(shop, job, "glass.windshield.replaced")
    assert standing(job)


@pytest.mark.parametrize("how", ["operation", "line", "mapping", "withdrawal", "by_hand"])
def test_what_opens_a_closed_list_again(shop: Shop, job: Job, how: str) -> None:
    line = add_line(shop, job)
    map_line(shop, job, line, operations=("glass.windshield.replaced",))
    done = record(shop, job, "glass.windshield.replaced")
    close(shop, job)
    actor, as_of = shop.actor("tachterly"), shop.at("09:00")
    if how == "operation":
        record(shop, job, "mirror.inside.disturbed", found_later=True)
    elif how == "line":
        add_line(shop, job, 2)
    elif how == "mapping":
        map_line(shop, job, line, version=1, touches_nothing=True)
    elif how == "withdrawal":
        estimate.withdraw_operation(
            job=job, operation=done, actor=actor, as_of=as_of, reason="Was recorded on the wrong job"
        )
    else:
        estimate.reopen_operations(job=job, actor=actor, as_of=as_of, reason="Teardown found more damage")
    assert not standing(job)
    job.refresh_from_db()
    assert job.plan_fixed_at is None


def test_opening_an_open_list(shop: Shop, job: Job) -> None:
    with pytest.raises(Conflict) as conflict:
        estimate.reopen_operations(
            job=job, actor=shop.actor("tachterly"), as_of=shop.at("09:00"), reason="Nothing to open here"
        )
    assert conflict.value.code == "not_closed"


@pytest.mark.parametrize(("reason", "code"), [("too short", "text_length"), ("long enough", "")])
def test_a_withdrawal_needs_a_reason_and_happens_once(shop: Shop, job: Job, reason: str, code: str) -> None:
    done = record(shop, job, "glass.windshield.replaced")
    actor = shop.actor("tachterly")
    if code:
        with pytest.raises(Refused) as refusal:
            estimate.withdraw_operation(
                job=job, operation=done, actor=actor, as_of=shop.at("09:00"), reason=reason
            )
        assert refusal.value.code == code
        return
    ended = estimate.withdraw_operation(
        job=job, operation=done, actor=actor, as_of=shop.at("09:00"), reason=reason
    )
    assert (ended.ended_how, ended.ended_by, ended.ended_reason) == ("withdrawn", actor.person, reason)
    with pytest.raises(Conflict) as conflict:
        estimate.withdraw_operation(
            job=job, operation=done, actor=actor, as_of=shop.at("09:01"), reason=reason
        )
    assert conflict.value.code == "already_ended"


@pytest.mark.parametrize(
    ("operation", "fields", "code"),
    [
        ("glass.windshield.broken", {}, "unknown_operation"),
        ("module.any.reprogrammed", {"zone_detail": "engine"}, "bad_choice"),
        ("battery.disconnected", {"by": "nobody"}, "unknown_reference"),
        ("battery.disconnected", {"estimate_line": new_id()}, "unknown_reference"),
        (
            "battery.disconnected",
            {"started_at": "2026-05-05T08:30:00-05:00", "done_at": "2026-05-05T08:29:59-05:00"},
            "times_backwards",
        ),
        (
            "battery.disconnected",
            {"started_at": "2026-05-05T08:30:00-05:00", "done_at": "2026-05-05T08:30:00-05:00"},
            "",
        ),
        ("module.any.reprogrammed", {"zone_detail": "front_radar", "by": "ITOLVAAR"}, ""),
    ],
)
def test_what_an_operation_may_say(
    shop: Shop, job: Job, operation: str, fields: dict[str, Any], code: str
) -> None:
    if not code:
        assert record(shop, job, operation, **fields).operation == operation
        return
    with pytest.raises(Refused) as refusal:
        record(shop, job, operation, **fields)
    assert refusal.value.code == code
    assert not OperationDone.objects.exists()
