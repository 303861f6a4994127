"""People who sign in, and what they are qualified for."""

import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from jobs.models.places import Location
from jobs.models.record import Record
from jobs.models.tenancy import Organisation

ROLES = (
    "technician",
    "glass_installer",
    "estimator",
    "location_manager",
    "quality_reviewer",
    "quality_manager",
    "operations_manager",
    "auditor",
    "counsel",
    "guest_calibrator",
    "integration",
)


class PersonManager(BaseUserManager["Person"]):
    """Not guarded by the scope: signing in happens before any organisation is known.

    Everything else turns a login of the open organisation into a person through ``jobs.access``.
    """

    def create_person(self, *, login: str, password: str | None = None, **fields: Any) -> "Person":
        """Makes a person; without a password nobody can sign in by one."""
        person = self.model(login=login.lower(), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """One login, one human. ``locations`` empty and ``all_locations`` false: sees no location at all.

    ``email`` is where heads of the log are sent; empty means nowhere.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="people")
    login = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True, default="")
    roles = models.JSONField(default=list)
    all_locations = models.BooleanField(default=False)
    locations = models.ManyToManyField(Location, blank=True, related_name="people")
    pin_hash = models.CharField(max_length=128, blank=True, default="")
    pin_failures = models.PositiveSmallIntegerField(default=0)
    pin_locked_until = models.DateTimeField(null=True, blank=True)
    is_active = models.BooleanField(default=True)
    active_from = models.DateField(null=True, blank=True)
    active_to = models.DateField(null=True, blank=True)

    USERNAME_FIELD = "login"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    objects: ClassVar[PersonManager] = PersonManager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(Lower("login"), name="person_login_once"),
        ]

    def __str__(self) -> str:
        return self.login

    def has_role(self, *roles: str) -> bool:
        """Whether the person holds any of ``roles``."""
        return any(role in self.roles for role in roles)


class Qualification(Record):
    """Valid on a day if issued_on <= day <= expires_on and not revoked on or before that day."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="qualifications")
    kind = models.CharField(max_length=20)
    issuer = models.CharField(max_length=120)
    number = models.CharField(max_length=80)
    issued_on = models.DateField()
    expires_on = models.DateField(null=True, blank=True)
    revoked_on = models.DateField(null=True, blank=True)
    file = models.ForeignKey(
        "jobs.Evidence", on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta(Record.Meta):
        indexes: ClassVar = [models.Index(fields=("organisation", "expires_on"), name="qualification_due")]
