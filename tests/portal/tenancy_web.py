"""The pages' rows of the tenancy matrix: people signed in to the pages, forms as a browser sends them."""

import uuid
from typing import Any, Final

from portal.permissions import HANDS, PEOPLE_OF_SHOP
from tests.portal.cast import PIN
from tests.portal.tenancy_rows import Row
from tests.portal.tenancy_stage import Stage, Things


def _form(**fields: Any) -> Any:
    def body(stage: Stage, things: Things) -> dict[str, Any]:
        return {"id": str(uuid.uuid4())} | fields

    return body


def _page(route: str, path: Any, *, by: str = "technician", **more: Any) -> Row:
    values: dict[str, Any] = {"method": "GET", "gives": 200, "door": "session"} | more
    return Row(route=f"web:{route}", path=path, by=by, **values)


WEB_ROWS: Final[tuple[Row, ...]] = (
    _page("home", lambda things: "/", reach="none", gives=302),
    _page("cars", lambda things: "/cars", reach="none"),
    _page("car", lambda things: f"/cars/{things.job}"),
    _page("car-state", lambda things: f"/cars/{things.job}/state"),
    _page(
        "car-photo", lambda things: f"/cars/{things.job}/photos", method="POST", gives=302,
        body=_form(shows="plate", stage="intake"),
    ),
    _page(
        "car-file", lambda things: f"/cars/{things.job}/files", method="POST", gives=302,
        body=_form(kind="document", stage="intake"),
    ),
    _page(
        "car-sign", lambda things: f"/cars/{things.job}/signature", method="POST", gives=302,
        body=_form(role="technician", pin=PIN), refused_by_service=PEOPLE_OF_SHOP - HANDS,
    ),
    _page("board", lambda things: "/board", by="location_manager", reach="none"),
    _page("gate", lambda things: f"/gate/{things.job}", by="location_manager"),
    _page("gate-times", lambda things: f"/gate/{things.job}/times", by="location_manager"),
    _page(
        "gate-release", lambda things: f"/gate/{things.job}/release", by="location_manager", method="POST",
        gives=409, body=_form(pin=PIN),
    ),
    _page(
        "gate-delivery", lambda things: f"/gate/{things.job}/delivery", by="estimator", method="POST",
        gives=302, body=_form(odometer="21026", unit="km"),
    ),
    _page(
        "gate-packet", lambda things: f"/gate/{things.job}/packet", by="location_manager", method="POST",
        gives=302, body=_form(),
    ),
    _page("keeping", lambda things: "/keeping", by="location_manager", reach="none"),
    # Whatever is not a location of one's own is refused: see the tests of holds for what may be held.
    _page(
        "hold-new", lambda things: "/keeping/holds", by="location_manager", method="POST", gives=302,
        body=_form(matter="A matter", opened_from="2026-01-01"), reach="none",
    ),
    _page(
        "hold-lift-request", lambda things: f"/keeping/holds/{things.job}/lift-request",
        by="location_manager", method="POST", gives=404, body=_form(reason="The matter is over."),
    ),
    _page(
        "hold-lifting", lambda things: f"/keeping/holds/{things.job}/lifting", by="location_manager",
        method="POST", gives=404, body=_form(),
    ),
    # These people work at one location; what is kept concerns all.
    _page(
        "retention-rule", lambda things: "/keeping/rules", by="quality_manager", method="POST", gives=403,
        body=_form(kind="drive_logs", amount="24", reason="Agreed with counsel."), reach="none",
        refused_by_service=frozenset({"operations_manager"}),
    ),
    _page("kept-job", lambda things: f"/gate/{things.job}/kept", by="location_manager"),
    _page(
        "production-csv", lambda things: f"/gate/{things.job}/kept/production.csv", by="location_manager",
        method="POST", body=_form(),
    ),
    # The packet is not sealed: nothing can be stated of it, and nothing was added to it.
    _page(
        "custodian-form", lambda things: f"/gate/{things.job}/kept/packets/1/custodian-form",
        by="location_manager", gives=409,
    ),
    _page(
        "addition-pages", lambda things: f"/gate/{things.job}/kept/packets/1/additions/1",
        by="location_manager", gives=404,
    ),
    _page("heads", lambda things: "/heads", by="location_manager", reach="none"),
    _page(
        "heads-address", lambda things: "/heads/address", by="location_manager", method="POST", gives=302,
        body=_form(address="manager@brackwater.example"), reach="none",
    ),
    # The packet waits to be built: see the test of redaction for sealed ones.
    _page(
        "packet-redaction", lambda things: f"/packets/{things.packet}/redaction", by="quality_manager",
        gives=409,
    ),
    _page(
        "packet-redaction", lambda things: f"/packets/{things.packet}/redaction", by="quality_manager",
        method="POST", gives=409, body=_form(step="look"),
    ),
    _page(
        "redaction-picture", lambda things: f"/packets/{things.packet}/redaction/1", by="quality_manager",
        gives=409,
    ),
    _page("packets", lambda things: "/packets", by="auditor", reach="none"),
    # Nothing was granted here: see the tests of the auditor's pages for what was.
    _page("packet", lambda things: f"/packets/{things.packet}", by="auditor", gives=404),
    _page("packet-times", lambda things: f"/packets/{things.packet}/times", by="auditor", gives=404),
    _page(
        "packet-download", lambda things: f"/packets/{things.packet}/download", by="location_manager",
        method="POST", gives=404, body=_form(),
    ),
    _page(
        "packet-bundle", lambda things: f"/packets/{things.packet}/bundle", by="location_manager",
        method="POST", gives=404, body=_form(),
    ),
)  # fmt: skip
