"""The scope guard: no scope no rows, one scope one organisation's rows, also through related managers."""

import threading

import pytest
from django.db import models as django_models

from jobs.models import Job, Organisation, Person, ScopeError, TenantModel, scope, unscoped
from jobs.models.tenancy import TenantManager, current_organisation_id
from tests.jobs import rows

pytestmark = pytest.mark.django_db


def _two() -> tuple[Job, Job]:
    made = []
    with unscoped():
        for name, login in (("Brackwater", "itolvaar"), ("Sallowfield", "wstroud")):
            owner = rows.organisation(name)
            place = rows.location(owner)
            made.append(rows.job(place, rows.person(owner, login, place)))
    return made[0], made[1]


def test_without_a_scope_a_tenant_table_cannot_be_read() -> None:
    ours, _ = _two()
    for read in (
        Job.objects.count,
        lambda: list(Job.objects.filter(pk=ours.pk)),
        lambda: list(ours.readings.all()),
    ):
        with pytest.raises(ScopeError):
            read()


def test_a_scope_shows_its_own_organisation_and_no_other() -> None:
    ours, theirs = _two()
    with scope(ours.organisation_id):
        assert list(Job.objects.all()) == [ours]
        assert not Job.objects.filter(pk=theirs.pk).exists()
    with scope(theirs.organisation_id):
        assert list(Job.objects.all()) == [theirs]
    with unscoped():
        assert set(Job.objects.all()) == {ours, theirs}


def test_a_related_manager_goes_through_the_guard() -> None:
    ours, theirs = _two()
    with unscoped():
        rows.reading(theirs, Person.objects.get(login="wstroud"))
        assert theirs.readings.count() == 1
    with scope(ours.organisation_id):
        assert theirs.readings.count() == 0


def test_scopes_nest_and_close_again_after_an_error() -> None:
    ours, theirs = _two()
    with scope(ours.organisation_id):
        with scope(theirs.organisation_id):
            assert current_organisation_id() == theirs.organisation_id
        assert current_organisation_id() == ours.organisation_id
    with pytest.raises(ZeroDivisionError), scope(ours.organisation_id):
        raise ZeroDivisionError
    with pytest.raises(ScopeError):
        Job.objects.count()


def test_a_scope_does_not_reach_into_another_thread() -> None:
    seen: list[object] = []
    with scope(Organisation(name="x").pk):
        thread = threading.Thread(target=lambda: seen.append(current_organisation_id()))
        thread.start()
        thread.join()
    assert seen == [None]


def test_every_table_with_an_organisation_is_guarded_and_protected() -> None:
    """The one exception is the person: signing in comes before any organisation is known."""
    from_app = [m for m in TenantModel.__subclasses__() for m in _concrete(m)]
    assert len(from_app) > 40
    for model in from_app:
        assert isinstance(model._default_manager, TenantManager), model
        field = model._meta.get_field("organisation")
        assert isinstance(field, django_models.ForeignKey)
        assert not field.null, model
        assert field.remote_field.on_delete is django_models.PROTECT, model


def test_unique_constraints_of_tenant_tables_include_the_organisation() -> None:
    for base in TenantModel.__subclasses__():
        for model in _concrete(base):
            for constraint in model._meta.constraints:
                if isinstance(constraint, django_models.UniqueConstraint):
                    assert "organisation" in constraint.fields, (model, constraint.name)


def _concrete(model: type[django_models.Model]) -> list[type[django_models.Model]]:
    if not model._meta.abstract:
        return [model]
    return [found for sub in model.__subclasses__() for found in _concrete(sub)]
