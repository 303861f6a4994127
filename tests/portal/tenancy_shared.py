"""Rows of the tenancy matrix for what is shown to people outside: grants, links, samples, copies."""

import uuid
from typing import Any, Final

from tests.portal.tenancy_rows import Row
from tests.portal.tenancy_stage import Stage, Things

_GIVEN: Final = {"purpose": "insurer_audit"}


def _id() -> str:
    return str(uuid.uuid4())


def _links(stage: Stage, things: Things) -> dict[str, Any]:
    return {"id": _id(), "packets": [things.packet], "to_name": "A. B.", "to_company": "C", **_GIVEN}


def _sample(stage: Stage, things: Things) -> dict[str, Any]:
    return {"id": _id(), "from_on": "2020-01-01", "to_on": "2020-01-02"}


def _api(route: str, method: str, path: Any, gives: int, **more: Any) -> Row:
    values: dict[str, Any] = {"by": "location_manager"} | more
    return Row(route=f"api:{route}", method=method, path=path, gives=gives, **values)


def _web(route: str, method: str, path: Any, gives: int, **more: Any) -> Row:
    values: dict[str, Any] = {"by": "location_manager", "door": "session"} | more
    if method == "POST":
        values.setdefault("body", lambda stage, things: {"id": _id()})
    return Row(route=f"web:{route}", method=method, path=path, gives=gives, **values)


def _nothing(stage: Stage, things: Things) -> dict[str, Any]:
    return {}


def _form(stage: Stage, things: Things) -> dict[str, Any]:
    who = {"to_person": "only-auditor", "to_name": "A", "to_company": "B"}
    return {"id": _id(), "packet": things.packet, **who, **_GIVEN}


SHARED_ROWS: Final[tuple[Row, ...]] = (
    _api("packet-access", "GET", lambda things: f"packets/{things.packet}/access", 200),
    _api("grant-revocation", "POST", lambda things: f"grants/{things.grant}/revocation", 200, body=_nothing),
    # The packet is not sealed yet: see the tests of sharing for one that is.
    _api("links", "POST", lambda things: "links", 409, body=_links),
    _api("link-revocation", "POST", lambda things: f"links/{things.link}/revocation", 200, body=_nothing),
    _api("sample-plan", "GET", lambda things: "sample-plan?lot=400", 200, reach="none"),
    _api("samples", "GET", lambda things: "samples", 200, reach="none"),
    # Nothing was sealed in those days.
    _api("samples", "POST", lambda things: "samples", 409, body=_sample, reach="none"),
    # Opened by somebody else of one location, for nobody outside: it is theirs, and the whole organisation's.
    _api("sample", "GET", lambda things: f"samples/{things.sample}", 404),
    _api(
        "sample-draw", "POST", lambda things: f"samples/{things.sample}/draw", 404,
        body=lambda stage, things: {"word": "lantern"},
    ),
    _api(
        "sample-archives", "POST", lambda things: f"samples/{things.sample}/archives", 404,
        body=lambda stage, things: {"id": _id()},
    ),
    # Nobody asked for an archive: who did is alone in seeing it.
    _api("sample-archive", "GET", lambda things: f"sample-archives/{things.sample}", 404),
    _api("sample-archive-content", "GET", lambda things: f"sample-archives/{things.sample}/content", 404),
    _web("access", "GET", lambda things: f"/gate/{things.job}/access", 200),
    _web("access-grant", "POST", lambda things: f"/gate/{things.job}/access/grants", 409, body=_form),
    _web("access-link", "POST", lambda things: f"/gate/{things.job}/access/links", 409, body=_form),
    _web(
        "access-revoke", "POST",
        lambda things: f"/gate/{things.job}/access/grants/{things.grant}/revocation", 302,
    ),
    _web(
        "access-revoke-link", "POST",
        lambda things: f"/gate/{things.job}/access/links/{things.link}/revocation", 302,
    ),
    _web("samples", "GET", lambda things: "/samples", 200, reach="none"),
    _web("sample-open", "POST", lambda things: "/samples/new", 409, body=_sample, reach="none"),
    _web("sample", "GET", lambda things: f"/samples/{things.sample}", 404),
    _web("sample-draw", "POST", lambda things: f"/samples/{things.sample}/draw", 404),
    _web("sample-sheet", "GET", lambda things: f"/samples/{things.sample}/sheet", 404),
    _web("sample-pack", "POST", lambda things: f"/samples/{things.sample}/archive", 404),
    _web("sample-archive", "GET", lambda things: f"/sample-archives/{things.sample}", 404),
    # Nothing was granted here, and no copy made.
    _web("packet-picture", "GET", lambda things: f"/packets/{things.packet}/pictures/1", 404, by="auditor"),
    _web("copy", "GET", lambda things: f"/copies/{things.packet}", 404, by="auditor"),
)  # fmt: skip
