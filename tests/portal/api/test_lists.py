"""Every list asks the database as often for three rows as for one."""

import uuid
from collections.abc import Callable
from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.models import Equipment, PackEditionOnFile, unscoped
from tests.portal.api import files
from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, earlier, open_job

pytestmark = pytest.mark.django_db
Add = Callable[[Cast, Caller, OpenJob, int], None]


def _job(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    open_job(caller, cast.eastmarch)


def _line(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    line = str(uuid.uuid4())
    caller.post(f"{job.path}/estimate-lines", {"id": line, "line_no": place, "text": "Glass"})
    mapping = {"touches_nothing": True}
    mapped = caller.put(f"{job.path}/estimate-lines/{line}/mapping", mapping, If_Match="*")
    assert mapped.status == 200


def _session(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    body = {"id": str(uuid.uuid4()), "procedure_id": "P", "started_at": earlier(minutes=place)}
    assert caller.post(f"{job.path}/sessions", body).status == 201


def _file(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    where = f"{job.path}/evidence/{uuid.uuid4()}?kind=photo&stage=intake"
    assert caller.upload(where, files.jpeg(shade=place)).status == 201


def _instrument(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    with unscoped():
        Equipment.objects.create(
            organisation=cast.eastmarch.organisation,
            home_location=cast.eastmarch.location,
            tag=f"PG-{place}",
            cls="tyre_gauge",
            in_service_from=date(2025, 1, 1),
            due_on=date(2025, 6, 1),
        )


def _pack(cast: Cast, caller: Caller, job: OpenJob, place: int) -> None:
    with unscoped():
        PackEditionOnFile.objects.create(
            organisation=cast.eastmarch.organisation,
            pack="common-practice",
            edition=place,
            source=b"#",
            sha256="0" * 64,
            in_force_from=date(2026, 1, 1),
        )


@pytest.mark.parametrize(
    ("path", "add", "there"),
    [
        ("jobs", _job, 1),
        ("orders", _job, 1),
        ("{job}/estimate-lines", _line, 0),
        ("{job}/sessions", _session, 0),
        ("{job}/evidence", _file, 0),
        ("equipment", _instrument, 0),
        ("equipment/due", _instrument, 0),
        ("packs", _pack, 0),
    ],
)
def test_one_row_and_three(cast: Cast, job: OpenJob, path: str, add: Add, there: int) -> None:
    caller = cast.caller("all-hands", "technician", "estimator")
    where = path.format(job=job.path)
    counted = []
    for place in range(1, 4):
        if place > there:
            add(cast, caller, job, place)
        with CaptureQueriesContext(connection) as queries:
            assert len(caller.get(where).json()["results"]) == place
        counted.append(len(queries))
    assert counted[0] == counted[1] == counted[2]
