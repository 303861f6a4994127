"""How an organisation measures, as the linter of packs asks for it: budgets, instruments and certificates."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from uuid import UUID

from jobs.facts.gear import certificate
from jobs.facts.uncertainty import Budgets
from jobs.models import Certificate, Equipment, Location, MethodBudget, Organisation, Vehicle
from rules.facts import Certificate as HeldCertificate
from rules.packs.methods import GroupMethods, Instrument, Method, PlaceMethods, VehicleSize
from rules.quantities import UNITS
from rules.science.instruments import due_on
from rules.vocabulary import QUANTITY_UNITS


def group_methods(organisation: Organisation, *, on: date) -> GroupMethods:
    """Method budgets in force on the day, and for every place in use its instruments in service with what
    their latest confirmed certificate in date speaks for. An instrument without a home is at every place.

    Sizes of vehicles are those of cars on record, one for each model: the longest wheelbase seen.
    """
    rows = MethodBudget.objects.filter(organisation=organisation, valid_from__lte=on)
    budgets = tuple(Budgets.of_rows(rows.order_by("valid_from", "id")).rows.values())
    gear = list(
        Equipment.objects.filter(organisation=organisation, state="in_service", in_service_from__lte=on)
        .exclude(retired_on__lte=on)
        .order_by("tag")
    )
    certificates: dict[UUID, list[Certificate]] = defaultdict(list)
    for row in Certificate.objects.filter(
        organisation=organisation, ended_at__isnull=True, calibrated_on__lte=on, confirmed_by__isnull=False
    ).order_by("calibrated_on", "id"):
        certificates[row.equipment_id].append(row)
    instruments = [(row, _instrument(row, certificates[row.pk], budgets, on)) for row in gear]
    places = Location.objects.filter(organisation=organisation, active_from__lte=on).exclude(active_to__lt=on)
    return GroupMethods(
        name=organisation.name,
        methods=tuple(_method(row) for row in budgets),
        places=tuple(
            PlaceMethods(
                code=place.code,
                name=place.name,
                instruments=tuple(
                    held for row, held in instruments if row.home_location_id in (None, place.pk)
                ),
            )
            for place in places.order_by("code")
        ),
        vehicles=_sizes(organisation),
    )


def _method(row: MethodBudget) -> Method:
    return Method(
        quantity=row.quantity,
        instrument=row.cls,
        u_fixed=row.u_fixed,
        u_relative=row.u_relative,
        u_repeat=row.u_repeat,
        resolution=row.resolution,
    )


def _instrument(
    row: Equipment, certificates: Iterable[Certificate], budgets: Iterable[MethodBudget], on: date
) -> Instrument:
    quantities = [budget.quantity for budget in budgets if budget.cls == row.cls]
    held = [certificate(one) for one in certificates]
    if row.needs_certificate:
        latest = held[-1] if held else None
        quantities = [name for name in quantities if latest and _speaks_for(latest, name, row, on)]
    return Instrument(tag=row.tag, kind=row.cls, certified_for=frozenset(quantities))


def _speaks_for(held: HeldCertificate, quantity: str, row: Equipment, on: date) -> bool:
    """In date, with points in the quantity's unit or a statement about the whole range."""
    due = due_on(held, row.interval_months)
    if due is not None and due < on:
        return False
    units = {UNITS[point.unit].program for point in held.points if point.unit in UNITS}
    return bool(held.mpe_statement) or QUANTITY_UNITS.get(quantity) in units


def _sizes(organisation: Organisation) -> tuple[VehicleSize, ...]:
    """The size of each model on record; the longest car asks most of the thrust line."""
    rows = Vehicle.objects.filter(
        organisation=organisation, wheelbase_mm__isnull=False, front_track_mm__isnull=False
    ).values_list("model", "wheelbase_mm", "front_track_mm")
    sizes: dict[str, VehicleSize] = {}
    for model, wheelbase, track in rows.order_by("model", "wheelbase_mm", "front_track_mm").distinct():
        if wheelbase and track:
            sizes[model] = VehicleSize(model=model, wheelbase_mm=wheelbase, track_mm=track)
    return tuple(sizes.values())
