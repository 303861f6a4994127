"""Which columns of the record name stored bytes, and who still needs the bytes of a hash.

Bytes are stored once whoever brings them, so a file may serve several jobs, and several organisations that
know nothing of each other. Nothing here tells one of the other: only whether somebody else needs a file.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from django.apps import apps
from django.db.models import CharField, Model

from jobs.models import Deletion, TenantModel, unscoped

# Hashes of things whose bytes lie elsewhere, in a row, or nowhere. Any other column whose name ends in
# ``sha256`` is taken to name stored bytes, so that a forgotten one keeps a file too long and never too short.
HASH_ONLY: Final = frozenset(
    {
        "ApiToken.sha256",
        "Assessment.facts_sha256",
        "Assessment.packs_sha256",
        "Assessment.result_sha256",
        "AssessmentRun.facts_sha256",
        "AssessmentRun.packs_sha256",
        "AdditionPrint.key_sha256",
        "Deletion.plan_sha256",
        "Deletion.sha256",
        "FactsOnFile.sha256",
        "IdempotencyRecord.request_sha256",
        "PackAcknowledgement.sha256",
        "PackEditionOnFile.sha256",
        "Packet.manifest_sha256",
        "PacketDownload.sha256",
        "PictureCopy.of_sha256",
        "Sample.population_sha256",
        "Sample.seed_sha256",
        "SampleArchive.sha256",
        "Scan.source_sha256",
        "ShareLink.token_sha256",
        "SigningIdentity.key_sha256",
        "TextLookup.text_sha256",
        "TreeHead.key_sha256",
    }
)
PIECE: Final = 400


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """One column of one row that names stored bytes; ``subject`` is how deletions name it."""

    model: str
    key: str
    column: str

    @property
    def subject(self) -> str:
        return f"{self.model}/{self.key}/{self.column}".lower()


def hash_columns() -> tuple[str, ...]:
    """Every column of the record whose name ends in ``sha256``, save the hash of a row's own content."""
    return tuple(
        f"{model.__name__}.{column}"
        for model in _models()
        for column in _hash_names(model)
        if column != "content_sha256"
    )


def _models() -> list[type[Model]]:
    return sorted(apps.get_app_config("jobs").get_models(), key=lambda model: model.__name__)


def _hash_names(model: type[Model]) -> list[str]:
    return [
        field.name
        for field in model._meta.concrete_fields
        if isinstance(field, CharField) and field.name.endswith("sha256")
    ]


def naming_columns() -> tuple[tuple[type[Model], str], ...]:
    """The columns that name stored bytes."""
    return tuple(
        (model, column)
        for model in _models()
        for column in _hash_names(model)
        if column != "content_sha256" and f"{model.__name__}.{column}" not in HASH_ONLY
    )


def places_of(hashes: Iterable[str]) -> dict[str, set[Place]]:
    """Every place of every organisation that names each hash and was not deleted there."""
    wanted = sorted({sha256 for sha256 in hashes if sha256})
    found: dict[str, set[Place]] = {sha256: set() for sha256 in wanted}
    with unscoped():
        for start in range(0, len(wanted), PIECE):
            piece = wanted[start : start + PIECE]
            gone = _deleted_subjects(piece)
            for sha256, place in _named(piece):
                if place.subject not in gone:
                    found[sha256].add(place)
    return found


def _named(hashes: list[str]) -> Iterator[tuple[str, Place]]:
    for model, column in naming_columns():
        rows: Any = model._default_manager
        for key, sha256 in rows.filter(**{f"{column}__in": hashes}).values_list("pk", column):
            yield sha256, Place(model.__name__, str(key), column)


def _deleted_subjects(hashes: list[str]) -> set[str]:
    rows = Deletion.objects.filter(sha256__in=hashes, removed_at__isnull=False)
    return set(rows.values_list("subject", flat=True))


def all_named() -> Iterator[tuple[str, UUID | None]]:
    """Every hash of stored bytes that a row names and that was not deleted there, with its organisation.

    The same hash comes once for each place; for the look over the whole store.
    """
    with unscoped():
        gone = set(Deletion.objects.filter(removed_at__isnull=False).values_list("subject", flat=True))
        for model, column in naming_columns():
            rows: Any = model._default_manager
            owner = "organisation_id" if issubclass(model, TenantModel) else "pk"
            named = rows.exclude(**{column: ""}).values_list("pk", owner, column)
            for key, organisation_id, sha256 in named.iterator(2000):
                if Place(model.__name__, str(key), column).subject not in gone:
                    yield sha256, organisation_id if issubclass(model, TenantModel) else None
