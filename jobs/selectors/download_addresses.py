"""Network addresses of downloads that are older than they may be kept whole."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from ipaddress import ip_address, ip_network
from uuid import UUID
from zoneinfo import ZoneInfo

from jobs.models import CopyTransfer, Organisation, Packet, PacketDownload


@dataclass(frozen=True, slots=True, kw_only=True)
class OldAddresses:
    """Addresses of one packet's downloads that are due to be shortened.

    Attributes:
        downloads, transfers: keys of the rows.
        due_on: first local day on which the oldest may no longer be kept; ``newest_on``: day of the newest.
    """

    packet: Packet
    downloads: tuple[int, ...]
    transfers: tuple[int, ...]
    due_on: date
    newest_on: date

    @property
    def subject(self) -> str:
        return f"packet/{self.packet.pk}/addresses/{self.newest_on.isoformat()}"

    @property
    def count(self) -> int:
        return len(self.downloads) + len(self.transfers)


def shortened(ip: str) -> str:
    """An address without the part that tells one caller from the next: 24 bits of IPv4, 48 of IPv6."""
    bits = 24 if ip_address(ip).version == 4 else 48
    return str(ip_network(f"{ip}/{bits}", strict=False).network_address)


def old_addresses(
    organisation: Organisation, *, keep_days: int, as_of: datetime, packet_id: UUID | None = None
) -> tuple[OldAddresses, ...]:
    """Addresses kept whole through ``keep_days`` local days after the download's own day, by packet.

    Days are those of the organisation's zone; it is open.
    """
    zone = ZoneInfo(organisation.default_tz)
    today = as_of.astimezone(zone).date()
    found: dict[UUID, list[tuple[str, int, date]]] = {}
    for kind, key, packet, at, ip in _whole(as_of - timedelta(days=max(keep_days - 1, 0)), packet_id):
        day = at.astimezone(zone).date()
        if day + timedelta(days=keep_days) < today and shortened(ip) != ip:
            found.setdefault(packet, []).append((kind, key, day))
    packets = Packet.objects.select_related("job").in_bulk(found)
    return tuple(
        OldAddresses(
            packet=packets[pk],
            downloads=tuple(key for kind, key, _ in rows if kind == "download"),
            transfers=tuple(key for kind, key, _ in rows if kind == "transfer"),
            due_on=min(day for _, _, day in rows) + timedelta(days=keep_days + 1),
            newest_on=max(day for _, _, day in rows),
        )
        for pk, rows in sorted(found.items(), key=lambda item: str(item[0]))
    )


def _whole(before: datetime, packet_id: UUID | None) -> Iterator[tuple[str, int, UUID, datetime, str]]:
    """Rows with an address, from before; the caller looks at the exact day."""
    downloads = PacketDownload.objects.filter(downloaded_at__lt=before, ip__isnull=False)
    transfers = CopyTransfer.objects.filter(at__lt=before, ip__isnull=False)
    if packet_id is not None:
        downloads = downloads.filter(packet_id=packet_id)
        transfers = transfers.filter(download__packet_id=packet_id)
    for pk, packet, at, ip in downloads.order_by("pk").values_list("pk", "packet_id", "downloaded_at", "ip"):
        yield "download", pk, packet, at, str(ip)
    for pk, packet, at, ip in transfers.order_by("pk").values_list("pk", "download__packet_id", "at", "ip"):
        yield "transfer", pk, packet, at, str(ip)
