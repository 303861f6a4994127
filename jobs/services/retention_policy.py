"""How long each kind of thing is kept: project defaults, what the organisation set instead, limits."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db import transaction

from jobs.access import Actor
from jobs.errors import NotAllowed, Refused
from jobs.models import Organisation, RetentionRule
from jobs.services import recording, values
from jobs.services.values import refused
from rules.science.months import add_months

RULE_ROLES: Final = ("quality_manager", "operations_manager")
MOST_MONTHS: Final = 600
NEVER: Final = "log"


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of thing.

    Attributes:
        default: how many of ``unit``; None stands for the organisation's own years (ten, project default).
        shortest: the least that may be set; None: not less than the organisation's own years.
        longest: the most that may be set; None: up to fifty years, or for ever.
        counts_from: what the period counts from, in words.
    """

    name: str
    title: str
    default: int | None
    unit: str
    shortest: int | None
    counts_from: str
    longest: int | None = None


# Defaults and limits are project defaults without a source. Law, contract and counsel come first.
KINDS: Final[Mapping[str, Kind]] = {
    kind.name: kind
    for kind in (
        Kind(
            name="evidence_originals", title="Evidence files as they came in", default=None, unit="months",
            shortest=None, counts_from="the day of delivery",
        ),
        Kind(
            name="photo_originals", title="Photos and videos as they came in", default=None, unit="months",
            shortest=12, counts_from="the day of delivery",
        ),
        Kind(
            name="drive_logs", title="Position logs of drives", default=None, unit="months", shortest=12,
            counts_from="the day of delivery",
        ),
        Kind(
            name="derived_pictures", title="Copies of pictures made for pages", default=24, unit="months",
            shortest=1, counts_from="the day of delivery",
        ),
        Kind(
            name="customer_data", title="Name, contact and plate of the customer", default=None,
            unit="months", shortest=12, counts_from="the day of delivery",
        ),
        Kind(
            name="packets", title="Sealed packets", default=None, unit="months", shortest=None,
            counts_from="the day of delivery, or of sealing where that is later",
        ),
        Kind(
            name="download_addresses", title="Network addresses of downloads, then shortened", default=90,
            unit="days", shortest=1, longest=90, counts_from="the day of the download",
        ),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What holds now for one kind; ``amount`` None: never deleted. ``set_by`` empty: the project default."""

    kind: Kind
    amount: int | None
    unit: str
    set_by: str = ""
    set_at: datetime | None = None
    reason: str = ""

    @property
    def is_default(self) -> bool:
        return not self.set_by

    @property
    def words(self) -> str:
        """``10 years from the day of delivery (project default)``."""
        if self.amount is None:
            return "kept for ever"
        default = " (project default)" if self.is_default else ""
        return f"{period_words(self.amount, self.unit)} from {self.kind.counts_from}{default}"


def period_words(amount: int, unit: str) -> str:
    if unit == "months" and amount % 12 == 0:
        amount, unit = amount // 12, "years"
    return f"{amount} {unit if amount != 1 else unit[:-1]}"


def last_day(start: date, amount: int, unit: str) -> date:
    """The last local day on which a thing is kept; it is due from the day after.

    Months are calendar months, clipped to the end of the month (31 Aug plus 6 months is 28 Feb).
    """
    return add_months(start, amount) if unit == "months" else start + timedelta(days=amount)


def rules_of(organisation: Organisation) -> dict[str, Rule]:
    """The rule of every kind; the organisation's scope is open."""
    newest: dict[str, RetentionRule] = {}
    rows = RetentionRule.objects.filter(organisation=organisation).select_related("set_by")
    for row in rows.order_by("set_at", "pk"):
        newest[row.kind] = row
    return {name: _rule(kind, newest.get(name), organisation) for name, kind in KINDS.items()}


def _rule(kind: Kind, row: RetentionRule | None, organisation: Organisation) -> Rule:
    if row is None:
        own = organisation.retention_years * 12
        return Rule(kind=kind, amount=own if kind.default is None else kind.default, unit=kind.unit)
    return Rule(
        kind=kind,
        amount=_not_too_short(kind, row.amount, organisation),
        unit=row.unit,
        set_by=row.set_by.login,
        set_at=row.set_at,
        reason=row.reason,
    )


def _not_too_short(kind: Kind, amount: int | None, organisation: Organisation) -> int | None:
    """A rule set before the organisation's own years were raised is lengthened with them."""
    if amount is None or kind.shortest is not None:
        return amount
    return max(amount, organisation.retention_years * 12)


def require_whole_organisation(actor: Actor) -> None:
    """Raises ``NotAllowed`` ``whole_organisation_only`` for somebody who sees some of its locations."""
    if actor.location_ids is not None:
        raise NotAllowed(
            "whole_organisation_only", "This concerns all locations; you are set up for some of them."
        )


@transaction.atomic
def set_rule(*, actor: Actor, as_of: datetime, kind: str, amount: int | None, reason: str) -> RetentionRule:
    """Sets how long a kind is kept from now on; what was set before stays to be read.

    Args:
        amount: in the kind's unit; None: never deleted.

    Raises:
        NotAllowed: ``role_missing``, ``whole_organisation_only``.
        Refused: ``never_deleted`` (the log), ``bad_choice``, ``period_too_short``, ``period_too_long``,
            ``text_length``.
    """
    recording.require_role(actor, *RULE_ROLES)
    require_whole_organisation(actor)
    if kind == NEVER:
        raise Refused("never_deleted", "The log is never deleted.", field="kind")
    known = KINDS[values.read_choice(kind, KINDS, "kind")]
    _check_amount(known, amount, actor.organisation)
    row = RetentionRule(
        organisation=actor.organisation,
        kind=kind,
        amount=amount,
        unit=known.unit,
        reason=values.read_text(reason, "reason", shortest=10, longest=500),
        set_at=as_of,
        set_by=actor.person,
    )
    before = rules_of(actor.organisation)[kind]
    recording.insert(row)
    recording.log_about(
        actor=actor,
        as_of=as_of,
        what="retention.rule_set",
        target=f"retention/{kind}",
        detail={
            "kind": kind,
            "amount": amount,
            "unit": known.unit,
            "before": {"amount": before.amount, "unit": before.unit},
            "reason": row.reason,
        },
    )
    return row


def _check_amount(kind: Kind, amount: int | None, organisation: Organisation) -> None:
    shortest = organisation.retention_years * 12 if kind.shortest is None else kind.shortest
    longest = kind.longest or MOST_MONTHS
    if amount is None and kind.longest is None:
        return
    if amount is None or amount > longest:
        raise refused(
            "period_too_long", "amount", f"{kind.title}: at most {period_words(longest, kind.unit)}."
        )
    if amount < shortest:
        raise refused(
            "period_too_short", "amount", f"{kind.title}: at least {period_words(shortest, kind.unit)}."
        )
