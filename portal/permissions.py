"""The one permission table: which scope a token needs and which roles a person needs, per route and method.

A route that is not here answers nobody. What hangs on the single record (who may waive which proof, a second
person for the review, the organisation's release roles) is decided by the services; whose record it is, by
``jobs.access``, and there a stranger gets the same 404 as for an id that does not exist.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from jobs.access import Actor
from jobs.errors import NotAllowed, NotSignedIn

READ: Final = "read"
RECORD: Final = "record"
SIGN: Final = "sign"
RELEASE: Final = "release"
PACKETS: Final = "packets"
SCOPES: Final = (READ, RECORD, SIGN, RELEASE, PACKETS)

HANDS: Final = frozenset({"technician", "glass_installer", "guest_calibrator"})
DESK: Final = frozenset({"estimator", "location_manager", "operations_manager"})
QUALITY: Final = frozenset({"quality_reviewer", "quality_manager"})
MACHINE: Final = frozenset({"integration"})
OUTSIDERS: Final = frozenset({"auditor", "counsel"})
SHOP: Final = HANDS | DESK | QUALITY | MACHINE
PEOPLE_OF_SHOP: Final = SHOP - MACHINE
EVERYONE: Final = SHOP | OUTSIDERS
MANAGERS: Final = frozenset({"location_manager", "operations_manager", "quality_manager"})


@dataclass(frozen=True, slots=True)
class Rule:
    """A caller needs ``scope`` (tokens only: a signed-in person has all) and any one of ``roles``."""

    scope: str
    roles: frozenset[str]


_READ: Final = Rule(READ, SHOP)
_RECORD: Final = Rule(RECORD, PEOPLE_OF_SHOP)
_SESSION: Final = Rule(RECORD, frozenset({"technician", "guest_calibrator"}))
_REVIEW: Final = Rule(RECORD, frozenset({"quality_reviewer"}))
_INTAKE: Final = Rule(RECORD, DESK | MACHINE | frozenset({"technician", "glass_installer"}))

_HANDS_OVER: Final = DESK | frozenset({"technician", "glass_installer", "quality_manager"})

# Who may make a redacted packet out of a sealed one.
_REDACT: Final = Rule(PACKETS, frozenset({"operations_manager", "quality_manager"}))

# Who writes a pack's text, and who may read over and approve what another wrote.
_PACK_WRITERS: Final = frozenset({"operations_manager", "quality_manager"})
_PACK_READERS: Final = _PACK_WRITERS | frozenset({"quality_reviewer"})

# Who answers for the record towards others, and who decides how long it is kept.
_ANSWERS: Final = Rule(PACKETS, MANAGERS | frozenset({"quality_reviewer"}))
_KEEPERS: Final = frozenset({"operations_manager", "quality_manager"})

_SAMPLES: Final = Rule(READ, MANAGERS | OUTSIDERS)

_PAGE: Final = Rule(READ, PEOPLE_OF_SHOP)
_WORK: Final = Rule(RECORD, PEOPLE_OF_SHOP)

# By route name as in portal/urls.py; methods not named are not allowed.
PERMISSIONS: Final[Mapping[str, Mapping[str, Rule]]] = {
    "api:clock": {"GET": Rule(READ, EVERYONE)},
    "api:me": {"GET": Rule(READ, EVERYONE)},
    "api:clock-observations": {"POST": Rule(RECORD, SHOP)},
    "api:screen-observations": {"POST": _RECORD},
    "api:vehicles": {"POST": _INTAKE},
    "api:vehicle": {"GET": _READ, "PATCH": _INTAKE},
    "api:orders": {"GET": _READ, "POST": _INTAKE},
    "api:jobs": {"GET": _READ},
    "api:job": {"GET": _READ},
    "api:identity-readings": {"POST": _RECORD},
    "api:fitted-systems": {"POST": _RECORD},
    "api:estimate-lines": {"GET": _READ, "POST": _RECORD},
    "api:estimate-line-mapping": {"PUT": _RECORD},
    "api:operations": {"POST": _RECORD},
    "api:operation-withdrawal": {"POST": _RECORD},
    "api:operations-closings": {"POST": _RECORD},
    "api:operations-reopenings": {"POST": _RECORD},
    "api:glass-sets": {"POST": Rule(RECORD, HANDS)},
    "api:lookups": {"POST": _RECORD},
    "api:sessions": {"GET": _READ, "POST": _SESSION},
    "api:session": {"GET": _READ},
    "api:session-end": {"POST": _SESSION},
    "api:session-key-events": {"POST": _SESSION},
    "api:readings": {"POST": _RECORD},
    "api:scans": {"POST": _RECORD},
    "api:lamp-records": {"POST": _RECORD},
    "api:statements": {"POST": _RECORD},
    "api:function-checks": {"POST": _RECORD},
    "api:target-identities": {"POST": _RECORD},
    "api:state-changes": {"POST": _RECORD},
    "api:sublet-orders": {"POST": _RECORD},
    "api:slips": {"POST": _RECORD},
    "api:evidence-list": {"GET": _READ},
    "api:evidence": {"GET": _READ, "PUT": Rule(RECORD, SHOP)},
    "api:evidence-content": {"GET": _READ},
    "api:evidence-set-aside": {"POST": _REVIEW},
    "api:reuse-decisions": {"POST": _REVIEW},
    "api:sign-offs": {"POST": Rule(SIGN, HANDS | QUALITY | frozenset({"location_manager"}))},
    "api:waivers": {"POST": Rule(SIGN, MANAGERS | QUALITY)},
    "api:refusals": {"POST": _RECORD},
    "api:explanations": {"POST": _REVIEW},
    "api:release": {"POST": Rule(RELEASE, MANAGERS)},
    "api:delivery": {"POST": Rule(RECORD, _HANDS_OVER)},
    "api:assessments": {"POST": Rule(RECORD, SHOP)},
    "api:assessment-run": {"GET": _READ},
    "api:assessment": {"GET": _READ},
    "api:assessment-explanations": {"GET": _READ},
    "api:advice": {"GET": _READ},
    "api:job-packets": {"POST": Rule(PACKETS, MANAGERS | frozenset({"quality_reviewer"}))},
    "api:packet": {"GET": Rule(READ, EVERYONE)},
    "api:packet-content": {"GET": Rule(READ, EVERYONE)},
    "api:packet-additions": {"GET": Rule(READ, EVERYONE)},
    "api:packet-addition-data": {"GET": Rule(READ, EVERYONE)},
    "api:packet-addition-pages": {"GET": Rule(READ, EVERYONE)},
    "api:custodian-form": {"GET": _ANSWERS},
    "api:production-log": {"GET": _ANSWERS},
    "api:production-export": {"GET": _ANSWERS},
    "api:job-erasure": {"POST": Rule(SIGN, _KEEPERS)},
    "api:holds": {"GET": Rule(READ, MANAGERS), "POST": Rule(SIGN, MANAGERS)},
    "api:hold-lift-requests": {"POST": Rule(SIGN, MANAGERS)},
    "api:hold-lifting": {"POST": Rule(SIGN, MANAGERS)},
    "api:retention-rules": {"GET": Rule(READ, MANAGERS), "POST": Rule(SIGN, _KEEPERS)},
    "api:retention-plan": {"GET": Rule(READ, _KEEPERS)},
    "api:packet-bundle": {"GET": Rule(READ, EVERYONE)},
    "api:packet-redactions": {"GET": _REDACT, "POST": _REDACT},
    "api:packet-grants": {"POST": Rule(PACKETS, MANAGERS)},
    "api:packet-access": {"GET": Rule(PACKETS, MANAGERS)},
    "api:grant-revocation": {"POST": Rule(PACKETS, MANAGERS)},
    "api:links": {"POST": Rule(PACKETS, MANAGERS)},
    "api:link-revocation": {"POST": Rule(PACKETS, MANAGERS)},
    "api:sample-plan": {"GET": _SAMPLES},
    "api:samples": {"GET": _SAMPLES, "POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "api:sample": {"GET": _SAMPLES},
    "api:sample-draw": {"POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "api:sample-archives": {"POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "api:sample-archive": {"GET": _SAMPLES},
    "api:sample-archive-content": {"GET": _SAMPLES},
    "api:equipment": {"GET": _READ},
    "api:equipment-due": {"GET": _READ},
    "api:floor-surveys": {"GET": _READ, "POST": Rule(RECORD, MANAGERS | frozenset({"technician"}))},
    "api:floor-survey-voiding": {"POST": _RECORD},
    "api:packs": {"GET": _READ},
    "api:pack-text": {"GET": _READ},
    "api:pack-draft": {"PUT": Rule(RECORD, _PACK_WRITERS)},
    "api:pack-review": {"GET": Rule(READ, _PACK_READERS)},
    "api:pack-difference": {"GET": _READ},
    "api:pack-effect": {"GET": Rule(READ, _PACK_READERS)},
    "api:pack-acknowledgements": {"POST": Rule(SIGN, _PACK_READERS)},
    "api:pack-approval": {"POST": Rule(SIGN, _PACK_READERS)},
    "api:pack-withdrawal": {"POST": Rule(SIGN, _PACK_WRITERS)},
    # The pages, for people who signed in.
    "web:home": {"GET": Rule(READ, EVERYONE - MACHINE)},
    "web:cars": {"GET": _PAGE},
    "web:car": {"GET": _PAGE},
    "web:car-state": {"GET": _PAGE},
    "web:car-photo": {"POST": _WORK},
    "web:car-file": {"POST": _WORK},
    "web:car-sign": {"POST": _WORK},
    "web:board": {"GET": Rule(READ, DESK | QUALITY)},
    "web:gate": {"GET": Rule(READ, DESK | QUALITY)},
    "web:gate-times": {"GET": Rule(READ, DESK | QUALITY)},
    "web:gate-release": {"POST": Rule(RELEASE, MANAGERS)},
    "web:gate-delivery": {"POST": Rule(RECORD, DESK)},
    "web:gate-packet": {"POST": Rule(PACKETS, MANAGERS | frozenset({"quality_reviewer"}))},
    "web:keeping": {"GET": Rule(READ, MANAGERS)},
    "web:hold-new": {"POST": Rule(SIGN, MANAGERS)},
    "web:hold-lift-request": {"POST": Rule(SIGN, MANAGERS)},
    "web:hold-lifting": {"POST": Rule(SIGN, MANAGERS)},
    "web:retention-rule": {"POST": Rule(SIGN, _KEEPERS)},
    "web:kept-job": {"GET": _ANSWERS},
    "web:production-csv": {"POST": _ANSWERS},
    "web:custodian-form": {"GET": _ANSWERS},
    "web:addition-pages": {"GET": _ANSWERS},
    "web:heads": {"GET": Rule(READ, MANAGERS)},
    "web:heads-address": {"POST": Rule(RECORD, MANAGERS)},
    "web:access": {"GET": Rule(PACKETS, MANAGERS)},
    "web:access-grant": {"POST": Rule(PACKETS, MANAGERS)},
    "web:access-link": {"POST": Rule(PACKETS, MANAGERS)},
    "web:access-revoke": {"POST": Rule(PACKETS, MANAGERS)},
    "web:access-revoke-link": {"POST": Rule(PACKETS, MANAGERS)},
    "web:samples": {"GET": _SAMPLES},
    "web:sample-open": {"POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "web:sample": {"GET": _SAMPLES},
    "web:sample-draw": {"POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "web:sample-sheet": {"GET": _SAMPLES},
    "web:sample-pack": {"POST": Rule(PACKETS, MANAGERS | OUTSIDERS)},
    "web:sample-archive": {"GET": _SAMPLES},
    "web:packets": {"GET": Rule(READ, OUTSIDERS)},
    "web:packet": {"GET": Rule(READ, OUTSIDERS)},
    "web:packet-times": {"GET": Rule(READ, OUTSIDERS)},
    "web:packet-picture": {"GET": Rule(READ, OUTSIDERS)},
    "web:copy": {"GET": Rule(READ, DESK | QUALITY | OUTSIDERS)},
    "web:packet-bundle": {"POST": Rule(READ, DESK | QUALITY | OUTSIDERS)},
    "web:packet-redaction": {"GET": _REDACT, "POST": _REDACT},
    "web:redaction-picture": {"GET": _REDACT},
    "web:packet-download": {"POST": Rule(READ, DESK | QUALITY | OUTSIDERS)},
}


def check(actor: Actor, rule: Rule | None) -> None:
    """Lets the actor pass or says why not.

    Raises:
        NotAllowed: ``scope_missing`` or ``role_missing``; a route without a rule is allowed to nobody.
    """
    if rule is None:
        raise NotAllowed()
    if actor.token is not None and rule.scope not in actor.scopes:
        raise NotAllowed("scope_missing", f"This token was not issued for {rule.scope}.", scope=rule.scope)
    if not rule.roles.intersection(actor.roles):
        raise NotAllowed("role_missing", "Your role does not allow this.")


class ScopePermission(BasePermission):
    """Reads the rule of the route and method from the table."""

    def has_permission(self, request: Request, view: Any) -> bool:
        actor = request.auth
        if not isinstance(actor, Actor):
            raise NotSignedIn()
        match = request.resolver_match
        route = match.view_name if match is not None else ""
        rules = PERMISSIONS.get(route, {})
        method = "GET" if request.method == "HEAD" else str(request.method)
        check(actor, rules.get(method))
        return True
