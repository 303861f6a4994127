"""Additions for whoever may see the packet: the list, one of them as its file, and its pages."""

from datetime import datetime

from jobs import storage
from jobs.access import scope_of
from jobs.errors import NotFound
from jobs.models import Packet, PacketAddition
from jobs.packets.additions import AdditionLine, additions_listed
from jobs.services.addition_print import print_addition


def listed(packet: Packet) -> tuple[AdditionLine, ...]:
    """Every addition, for a packet that ``jobs.access`` gave."""
    with scope_of(packet):
        return additions_listed(packet)


def addition_file(*, packet: Packet, number: int, form: str, as_of: datetime) -> tuple[str, bytes]:
    """Name and bytes of one addition: ``json`` as its hash stands in the log, ``pdf`` its pages.

    Raises:
        NotFound: there is no such addition.
    """
    with scope_of(packet):
        row = PacketAddition.objects.filter(packet=packet, number=number).first()
        if row is None:
            raise NotFound
        name = f"{packet.serial.replace('/', '-')}-addition-{row.number:04d}.{form}"
        if form == "json":
            return name, storage.read(row.sha256)
        return name, storage.read(print_addition(addition_id=row.pk, as_of=as_of).sha256)
