"""API tokens: made for one person, shown once, taken back at any time."""

from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from jobs.access import Actor, new_token_text, token_prefix, token_sha256
from jobs.errors import Conflict, NotAllowed
from jobs.models import ApiToken, Device, Location, Person
from jobs.services import recording, values
from jobs.services.values import refused

ISSUERS: Final = ("location_manager", "operations_manager", "quality_manager")
SCOPES: Final = ("read", "record", "sign", "release", "packets")
LONGEST_LIFE: Final = timedelta(days=90)


@transaction.atomic
def issue_token(  # noqa: PLR0913 - what a token is bound to
    *,
    actor: Actor,
    as_of: datetime,
    person: Person,
    name: str,
    scopes: tuple[str, ...],
    location: Location | None,
    device: Device | None,
    expires_at: datetime,
) -> tuple[ApiToken, str]:
    """Makes a token for somebody of the actor's organisation; the text is given this once and not stored.

    Raises:
        NotAllowed: ``role_missing``; ``other_organisation``; ``other_location`` (beyond what the actor sees).
        Refused: ``bad_choice``, ``list_empty``, ``token_life`` (at most 90 days), ``text_length``.
        Conflict: ``device_revoked``.
    """
    recording.require_role(actor, *ISSUERS)
    for bound in (person, location, device):
        if bound is not None and bound.organisation_id != actor.organisation_id:
            raise NotAllowed("other_organisation", "That belongs to another organisation.")
    if location is not None and not actor.sees_location(location.pk):
        raise NotAllowed("other_location", "That is not one of your locations.")
    if device is not None and device.revoked_at is not None:
        raise Conflict("device_revoked", "This device was taken out.")
    if not scopes:
        raise refused("list_empty", "scopes", "A token needs at least one scope.")
    if not as_of < expires_at <= as_of + LONGEST_LIFE:
        raise refused("token_life", "expires_at", f"A token lives at most {LONGEST_LIFE.days} days.")
    text = new_token_text()
    token = ApiToken(
        organisation=actor.organisation,
        name=values.read_text(name, "name", longest=120),
        prefix=token_prefix(text),
        sha256=token_sha256(text),
        scopes=values.read_choices(list(dict.fromkeys(scopes)), SCOPES, "scopes"),
        person=person,
        location=location,
        device=device,
        created_at=as_of,
        created_by=actor.person,
        expires_at=expires_at,
    )
    token.save(force_insert=True)
    detail = {"token": str(token.pk), "for": person.login, "scopes": list(token.scopes)}
    recording.log_about(
        actor=actor, as_of=as_of, what="token.issued", target=f"token/{token.pk}", detail=detail
    )
    return token, text


@transaction.atomic
def revoke_token(*, token: ApiToken, actor: Actor, as_of: datetime) -> ApiToken:
    """Takes a token back; its owner may, and those who may issue. ``Conflict`` ``already_revoked``."""
    if token.person_id != actor.person.pk:
        recording.require_role(actor, *ISSUERS)
    moved = ApiToken.objects.filter(
        pk=token.pk, organisation=actor.organisation, revoked_at__isnull=True
    ).update(revoked_at=as_of, revoked_by=actor.person)
    if moved != 1:
        raise Conflict("already_revoked", "This token was taken back before.")
    token.refresh_from_db()
    recording.log_about(actor=actor, as_of=as_of, what="token.revoked", target=f"token/{token.pk}", detail={})
    return token
