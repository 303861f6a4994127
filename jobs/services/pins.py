"""PINs: the fresh proof of who signs; wrong tries are counted and lock for a while."""

import re
from datetime import datetime, timedelta
from typing import Final

from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction

from jobs.access import Actor
from jobs.errors import Conflict, NotAllowed
from jobs.models import Person
from jobs.services import recording
from jobs.services.values import refused

# Project defaults.
MOST_TRIES: Final = 5
LOCKED_FOR: Final = timedelta(minutes=15)
_PIN = re.compile(r"\d{6,12}", re.ASCII)


def check_pin(*, actor: Actor, as_of: datetime, pin: str) -> None:
    """Confirms the actor's PIN.

    A wrong try is counted in a transaction of its own, which stays although the caller's work is refused.
    Each try is counted before the PIN is compared: tries sent at the same moment cannot share one count.

    Raises:
        Conflict: ``pin_not_set``.
        NotAllowed: ``pin_locked`` (extra ``until``) or ``pin_wrong`` (extra ``tries_left``).
    """
    person = _count_try(actor, as_of)
    if not check_password(pin, person.pin_hash):
        raise NotAllowed(
            "pin_wrong", "That is not your PIN.", tries_left=max(MOST_TRIES - person.pin_failures, 0)
        )
    Person.objects.filter(pk=person.pk).update(pin_failures=0, pin_locked_until=None)


@transaction.atomic
def _count_try(actor: Actor, as_of: datetime) -> Person:
    person = Person.objects.select_for_update().get(pk=actor.person.pk)
    if not person.pin_hash:
        raise Conflict("pin_not_set", "Set a PIN first: signatures need one.")
    if person.pin_locked_until is not None and person.pin_locked_until > as_of:
        raise NotAllowed(
            "pin_locked",
            "Too many wrong tries. Wait a quarter of an hour, or ask a manager.",
            until=person.pin_locked_until.isoformat(),
        )
    failures = 0 if person.pin_locked_until is not None else person.pin_failures
    person.pin_failures = failures + 1
    person.pin_locked_until = as_of + LOCKED_FOR if person.pin_failures >= MOST_TRIES else None
    person.save(update_fields=("pin_failures", "pin_locked_until"))
    return person


@transaction.atomic
def set_pin(*, actor: Actor, as_of: datetime, pin: str) -> None:
    """Sets the actor's own PIN: 6 to 12 digits, not all the same and no plain run.

    Codes: pin_form, pin_too_plain.
    """
    if _PIN.fullmatch(pin) is None:
        raise refused("pin_form", "pin", "A PIN has 6 to 12 digits.")
    if len(set(pin)) == 1 or pin in "0123456789" or pin in "9876543210":
        raise refused("pin_too_plain", "pin", "Choose digits that nobody guesses first.")
    Person.objects.filter(pk=actor.person.pk).update(
        pin_hash=make_password(pin), pin_failures=0, pin_locked_until=None
    )
    recording.log_about(
        actor=actor, as_of=as_of, what="pin.set", target=f"person/{actor.person.pk}", detail={}
    )


@transaction.atomic
def unlock_pin(*, actor: Actor, as_of: datetime, person: Person) -> None:
    """A manager ends the waiting time of somebody's PIN."""
    recording.require_role(actor, "location_manager", "operations_manager", "quality_manager")
    Person.objects.filter(pk=person.pk, organisation=actor.organisation).update(
        pin_failures=0, pin_locked_until=None
    )
    recording.log_about(
        actor=actor, as_of=as_of, what="pin.unlocked", target=f"person/{person.pk}", detail={}
    )
