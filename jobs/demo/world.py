"""Loads the invented world from ``fixtures/world.yaml``: operators, people, instruments, packs, tokens.

For demonstrations and tests only. Packs and tokens are made by the services that make them in earnest.
"""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final

import yaml
from django.contrib.auth.hashers import make_password
from django.db import transaction

from jobs.access import Actor, actor_for_person
from jobs.models import (
    AdhesiveSheet,
    Bay,
    Certificate,
    Device,
    Equipment,
    FunctionUsesSensor,
    Location,
    MethodBudget,
    Organisation,
    Person,
    Qualification,
    unscoped,
)
from jobs.services.pack_desk import publish_pack
from jobs.services.signing_keys import make_demo_key
from jobs.services.tokens import issue_token
from rules.canonical import canonical_bytes, sha256_hex
from rules.science.months import add_months

PASS_PHRASE: Final = "a line scribed across two parts"  # noqa: S105 - of an invented world
_NAMESPACE: Final = uuid.UUID("0b7c7e9e-55e5-5b0a-8a39-3f4a8d1c9f10")


def world_id(*names: str) -> uuid.UUID:
    """The same id for the same thing of the invented world in every loading."""
    return uuid.uuid5(_NAMESPACE, "/".join(names))


@dataclass
class World:
    """What was loaded: PINs and tokens by login (token, device id), organisations by code."""

    organisations: dict[str, Organisation] = field(default_factory=dict)
    people: dict[str, Person] = field(default_factory=dict)
    pins: dict[str, str] = field(default_factory=dict)
    tokens: dict[str, tuple[str, str]] = field(default_factory=dict)
    locations: dict[tuple[str, str], Location] = field(default_factory=dict)
    equipment: dict[str, Equipment] = field(default_factory=dict)
    devices: dict[str, Device] = field(default_factory=dict)


def load_world(fixtures: Path, *, as_of: datetime) -> World:
    """Loads everything into an empty database, and makes a demonstration key for whoever has a shop.

    Times of making are ``as_of``.
    """
    world = load_rows(
        world_rows(fixtures), as_of=as_of, pack_bytes=lambda name: (fixtures / "packs" / name).read_bytes()
    )
    for code in sorted({code for code, _ in world.locations}):
        make_demo_key(organisation=world.organisations[code], as_of=as_of)
    return world


def world_rows(fixtures: Path) -> dict[str, Any]:
    """The invented world as plain rows, section by section."""
    data: dict[str, Any] = yaml.safe_load((fixtures / "world.yaml").read_text(encoding="utf-8"))
    return data


def load_rows(data: dict[str, Any], *, as_of: datetime, pack_bytes: Callable[[str], bytes]) -> World:
    """Loads the rows of ``world_rows``, changed or not; they are used up.

    Args:
        pack_bytes: gives the bytes of a pack's file.
    """
    world = World()
    with transaction.atomic(), unscoped():
        _tenants(data, world, as_of)
        _people(data, world, as_of)
        _instruments(data, world, as_of)
        _reference(data, world, as_of)
        _packs(data, world, pack_bytes)
        _tokens(data, world, as_of)
    return world


def _tenants(data: dict[str, Any], world: World, as_of: datetime) -> None:
    for row in data["organisations"]:
        code = row.pop("code")
        world.organisations[code] = Organisation.objects.create(
            id=world_id("organisation", code), created_at=as_of, **row
        )
    for row in data["locations"]:
        code = row.pop("org")
        world.locations[code, row["code"]] = Location.objects.create(
            id=world_id("location", code, row["code"]),
            organisation=world.organisations[code],
            active_from=date(2020, 1, 1),
            **row,
        )
    for row in data["bays"]:
        code, place = row.pop("org"), row.pop("location")
        Bay.objects.create(
            id=world_id("bay", row["code"]),
            organisation=world.organisations[code],
            location=world.locations[code, place],
            **row,
        )


def _people(data: dict[str, Any], world: World, as_of: datetime) -> None:
    pass_phrase = make_password(PASS_PHRASE)
    for row in data["people"]:
        code, places, pin = row.pop("org"), row.pop("locations", []), row.pop("pin")
        person = Person.objects.create(
            id=world_id("person", row["login"]),
            organisation=world.organisations[code],
            password=pass_phrase,
            pin_hash=make_password(pin),
            **row,
        )
        person.locations.set(world.locations[code, place] for place in places)
        world.people[person.login] = person
        world.pins[person.login] = pin
    for row in data["qualifications"]:
        person = world.people[row.pop("person")]
        Qualification.objects.create(
            id=world_id("qualification", row["number"]),
            organisation=person.organisation,
            person=person,
            received_at=_noon(row["issued_on"]),
            created_by=world.people["lveskel"],
            content_sha256=sha256_hex(canonical_bytes(row)),
            **{**row, "issued_on": _day(row["issued_on"]), "expires_on": _day(row["expires_on"])},
        )


def _instruments(data: dict[str, Any], world: World, as_of: datetime) -> None:
    for row in data["equipment"]:
        code, place = row.pop("org"), row.pop("location")
        world.equipment[row["tag"]] = Equipment.objects.create(
            id=world_id("equipment", row["tag"]),
            organisation=world.organisations[code],
            home_location=world.locations[code, place],
            cls=row.pop("class"),
            resolution=float(row.pop("resolution")),
            in_service_from=_day(row.pop("in_service_from")),
            **row,
        )
    lab = data["certificate_lab"]
    for row in data["certificates"]:
        equipment = world.equipment[row["equipment"]]
        calibrated_on = _day(row["calibrated_on"])
        Certificate.objects.create(
            id=world_id("certificate", row["number"]),
            organisation=equipment.organisation,
            equipment=equipment,
            number=row["number"],
            lab_name=lab["name"],
            accreditation_no=lab["accreditation_no"],
            scope_ok="yes",
            calibrated_on=calibrated_on,
            issued_on=calibrated_on + timedelta(days=2),
            as_found=row["points"],
            as_left=row["points"],
            mpe_statement=row.get("mpe_statement", ""),
            traceability_text="National standard of the invented world",
            transcribed_by=world.people[lab["transcribed_by"]],
            confirmed_by=world.people[lab["confirmed_by"]],
            received_at=_noon(row["calibrated_on"]) + timedelta(days=3),
            created_by=world.people[lab["transcribed_by"]],
            content_sha256=sha256_hex(canonical_bytes(row)),
        )
        equipment.due_on = add_months(calibrated_on, equipment.interval_months or 0)
        equipment.save(update_fields=["due_on"])


def _reference(data: dict[str, Any], world: World, as_of: datetime) -> None:
    for row in data["method_budgets"]:
        row.pop("unit")
        MethodBudget.objects.create(
            organisation=world.organisations[row.pop("org")],
            cls=row.pop("class"),
            set_by=world.people[row.pop("by")],
            valid_from=_day(row.pop("valid_from")),
            **row,
        )
    for row in data["adhesive_sheets"]:
        AdhesiveSheet.objects.create(
            organisation=world.organisations[row.pop("org")], created_at=as_of, **row
        )
    functions: dict[tuple[str, str, str], list[str]] = {}
    for row in data["sensor_functions"]:
        for name in row["functions"]:
            functions.setdefault((row["org"], row["make"], name), []).append(row["sensor"])
    for (code, make, name), sensors in functions.items():
        for model in data["models"][make]:
            FunctionUsesSensor.objects.create(
                organisation=world.organisations[code],
                make=make,
                model=model,
                year_from=2024,
                year_to=2027,
                function=name,
                sensors=sensors,
            )
    for row in data["devices"]:
        code, place = row["org"], row["location"]
        world.devices[row["id"]] = Device.objects.create(
            id=world_id("device", row["id"]),
            organisation=world.organisations[code],
            location=world.locations[code, place],
            name=row["id"],
            kind=row["kind"],
            enrolled_at=as_of,
            enrolled_by=world.people["pvantongeren"],
        )


def _packs(data: dict[str, Any], world: World, pack_bytes: Callable[[str], bytes]) -> None:
    for row in sorted(data["packs"], key=lambda row: str(row["published_on"])):
        publish_pack(
            actor=_actor(world, "pvantongeren", _noon(row["published_on"])),
            as_of=_noon(row["published_on"]),
            data=pack_bytes(row["file"]),
            approved_by="dpell",
        )


def _tokens(data: dict[str, Any], world: World, as_of: datetime) -> None:
    for row in data["tokens"]:
        device = world.devices[row["device"]]
        person = world.people[row["person"]]
        _, secret = issue_token(
            actor=_actor(world, "pvantongeren", as_of),
            as_of=as_of,
            person=person,
            name=f"{person.name}, {device.name}",
            scopes=tuple(row["scopes"]),
            location=None,
            device=device,
            expires_at=as_of + timedelta(days=90),
        )
        world.tokens[person.login] = (secret, str(device.id))


def _actor(world: World, login: str, as_of: datetime) -> Actor:
    return actor_for_person(world.people[login], as_of=as_of)


def _day(text: str) -> date:
    return date.fromisoformat(text)


def _noon(text: str) -> datetime:
    return datetime.combine(_day(text), time(12), tzinfo=UTC)
