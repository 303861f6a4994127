"""Vehicles: register, read, change; VINs that cannot be; entity tags."""

import pytest

from tests.portal.cast import Caller, Cast
from tests.portal.intake import OpenJob, open_job, vehicle_body

pytestmark = pytest.mark.django_db


def test_register_and_read(estimator: Caller, stranger: Caller) -> None:
    body = vehicle_body(plate="BRK 417", wheelbase_mm=2590)
    made = estimator.post("vehicles", body)
    assert made.status == 201
    assert made.headers["ETag"] == '"1"'
    assert made.json()["wheelbase_mm"] == 2590.0
    assert estimator.get(f"vehicles/{body['id']}").json() == made.json()
    assert stranger.get(f"vehicles/{body['id']}").codes == (404, "not_found")


@pytest.mark.parametrize(
    ("vin", "codes"),
    [
        ("Z0ASD1F89S201183I", (400, "vin_format")),
        ("Z0ASD1F89S20118O5", (400, "vin_format")),
        ("Q0ASD1F89S2011835", (400, "vin_format")),
        ("Z0ASD1F89S201183", (400, "vin_format")),
        ("Z0ASD1F89S20118355", (400, "vin_format")),
        ("Z0ASD1F89S201183\u0665", (400, "vin_format")),
        ("", (400, "blank")),
        # The letter exchanged for its look-alike digit: right form, wrong check digit (49 CFR 565.15).
        ("Z0ASD1F80S2011835", (422, "vin_check_digit")),
    ],
)
def test_vins_that_cannot_be(estimator: Caller, vin: str, codes: tuple[int, str]) -> None:
    body = vehicle_body(vin=vin)
    refused = estimator.post("vehicles", body)
    assert refused.codes == codes
    assert refused.json()["errors"][0]["field"] == "vin"
    assert estimator.get(f"vehicles/{body['id']}").status == 404


def test_vin_is_normalised(estimator: Caller) -> None:
    made = estimator.post("vehicles", vehicle_body(vin=" z0asd1f8 9s2011835 "))
    assert made.json()["vin"] == "Z0ASD1F89S2011835"


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"colour": "red"}, "unknown_field"),
        ({"make": 7}, "wrong_type"),
        ({"make": "   "}, "blank"),
        ({"make": "x" * 61}, "text_length"),
        ({"model_year": "2025"}, "wrong_type"),
        ({"model_year": True}, "wrong_type"),
        ({"wheelbase_mm": 2590.5}, "bad_number"),
        ({"wheelbase_mm": "1e400"}, "bad_number"),
        ({"wheelbase_mm": "0x1F"}, "bad_number"),
        ({"wheelbase_mm": "2,590"}, "bad_number"),
        ({"wheelbase_mm": "\u0662\u0665\u0669\u0660"}, "bad_number"),
        ({"wheelbase_mm": "--5"}, "bad_number"),
        ({"check_digit_rule": "maybe"}, "bad_choice"),
        ({"id": "7"}, "wrong_type"),
        ({"id": 10**26 % (2**53)}, "wrong_type"),
        ({"modifications": "none"}, "wrong_type"),
        ({"build_date": "0000-00-00"}, "bad_date"),
    ],
)
def test_fields_that_are_refused(estimator: Caller, change: dict[str, object], code: str) -> None:
    body = vehicle_body(**change)
    assert estimator.post("vehicles", body).codes == (400, code)


def test_missing_field_is_named(estimator: Caller) -> None:
    body = vehicle_body()
    del body["make"]
    refused = estimator.post("vehicles", body)
    assert refused.codes == (400, "missing_field")
    assert [entry["field"] for entry in refused.json()["errors"]] == ["make"]


def test_same_id_again_is_the_same_vehicle_and_other_content_is_a_conflict(estimator: Caller) -> None:
    body = vehicle_body()
    first = estimator.post("vehicles", body)
    assert estimator.post("vehicles", body).json() == first.json()
    assert estimator.post("vehicles", body | {"vin": "1M8GDM9AXKP042788"}).codes == (409, "id_in_use")


def test_change_needs_the_etag_of_what_was_read(estimator: Caller, job: OpenJob, stranger: Caller) -> None:
    path = f"vehicles/{job.vehicle}"
    change = {"plate": "BRK 418"}
    assert estimator.patch(path, change).codes == (428, "if_match_missing")
    assert estimator.patch(path, change, If_Match="").codes == (428, "if_match_missing")
    assert estimator.patch(path, change, If_Match='"7"').codes == (412, "version_conflict")
    assert estimator.patch(path, change, If_Match='W/"1"').codes == (412, "version_conflict")
    assert estimator.patch(path, change, If_Match="1").codes == (400, "bad_if_match")
    assert estimator.patch(path, change, If_Match='"1", ').codes == (400, "bad_if_match")
    assert stranger.patch(path, change, If_Match="*").codes == (404, "not_found")
    assert estimator.get(path).json()["plate"] == ""
    changed = estimator.patch(path, change, If_Match='"9", "1"')
    assert (changed.status, changed.headers["ETag"], changed.json()["plate"]) == (200, '"2"', "BRK 418")
    assert estimator.patch(path, {"plate": "late"}, If_Match='"1"').codes == (412, "version_conflict")
    assert estimator.patch(path, {"trim": "LX"}, If_Match="*").headers["ETag"] == '"3"'


def test_the_vin_is_not_among_the_changes(estimator: Caller, job: OpenJob) -> None:
    refused = estimator.patch(f"vehicles/{job.vehicle}", {"vin": "1M8GDM9AXKP042788"}, If_Match="*")
    assert refused.codes == (400, "unknown_field")


def test_a_vehicle_seen_at_one_location_is_not_the_siblings(
    estimator: Caller, cast: Cast, sibling: Caller
) -> None:
    ours = open_job(estimator, cast.eastmarch)
    assert sibling.get(f"vehicles/{ours.vehicle}").codes == (404, "not_found")
