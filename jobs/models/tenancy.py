"""Organisations, and the guard that no row of one is ever read in the name of another.

How the guard works: rows of a tenant table can be read only while a scope is open.

* ``with scope(organisation_id):`` queries of this thread see that organisation's rows and no others.
* ``with unscoped():`` for code of the system itself that cannot know the organisation yet: looking a token
  up, leasing an outbox row, verifying all ledgers, following an access grant. Nowhere else.
* Neither open: the query raises ``ScopeError``. Forgetting is loud, never a leak.

Related managers (``job.sessions``) go through the same guard. Following a foreign key to one row does not: a
row that was found may lead to the rows it points at. Writing is not guarded by the scope; the organisation of
every row is not null, and services take it from the job or the actor.
"""

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import ClassVar, Final, Self, TypeVar

from django.db import models

_EVERYTHING: Final = "everything"
_scope: ContextVar[uuid.UUID | str | None] = ContextVar("organisation_scope", default=None)

ModelT = TypeVar("ModelT", bound=models.Model)


class ScopeError(RuntimeError):
    """A tenant table was read while no scope was open: a fault in the program, never in the input."""


@contextmanager
def scope(organisation_id: uuid.UUID) -> Iterator[None]:
    """Queries inside see only this organisation's rows."""
    token = _scope.set(organisation_id)
    try:
        yield
    finally:
        _scope.reset(token)


@contextmanager
def unscoped() -> Iterator[None]:
    """Queries inside see every organisation's rows: for system code only, see the module's text."""
    token = _scope.set(_EVERYTHING)
    try:
        yield
    finally:
        _scope.reset(token)


def current_organisation_id() -> uuid.UUID | None:
    """The organisation of the open scope; None where none is open or everything is."""
    opened = _scope.get()
    return opened if isinstance(opened, uuid.UUID) else None


class TenantManager(models.Manager[ModelT]):
    """Refuses to run outside a scope and narrows every query to it."""

    def get_queryset(self) -> models.QuerySet[ModelT]:
        opened = _scope.get()
        if opened is None:
            raise ScopeError(f"{self.model.__name__} read without an open scope")
        rows = super().get_queryset()
        return rows.filter(organisation_id=opened) if isinstance(opened, uuid.UUID) else rows


class Organisation(models.Model):
    """A tenant. ``release_roles``: roles that may sign the release; ``page_size`` of printed packets."""

    KINDS: ClassVar = ("repair_group", "single_shop", "sublet", "insurer", "law_office", "lab")
    PAGE_SIZES: ClassVar = ("A4", "Letter")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20)
    retention_years = models.PositiveSmallIntegerField(default=10)
    default_tz = models.CharField(max_length=64)
    house_pack = models.CharField(max_length=80, blank=True, default="")
    refusal_allowed = models.BooleanField(default=True)
    release_roles = models.JSONField(default=list)
    page_size = models.CharField(max_length=6, default="Letter")
    created_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(retention_years__gte=1, retention_years__lte=50),
                name="organisation_retention_1_to_50_years",
            ),
            models.CheckConstraint(
                condition=models.Q(page_size__in=("A4", "Letter")), name="organisation_page_size"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TenantModel(models.Model):
    """Base of every table whose rows belong to one organisation."""

    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")

    objects: ClassVar[TenantManager[Self]] = TenantManager()

    class Meta:
        abstract = True
