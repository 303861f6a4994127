"""A store of bytes and the packets of one job, built once for the tests that only read them."""

from pathlib import Path

import pytest

from jobs.packets.build import BuiltPacket
from jobs.packets.source import PacketSource
from tests.jobs.packets.packet_case import Store, built, finished, open_record
from tests.jobs.packets.sealed_case import Case, Sealed, sealed


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path)


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return Store(tmp_path_factory.mktemp("packets"))


@pytest.fixture(scope="session")
def released(kept: Store) -> tuple[PacketSource, BuiltPacket]:
    """The finished job on A4."""
    source = finished(kept)
    return source, built(source, kept)


@pytest.fixture(scope="session")
def sealed_packet(kept: Store, released: tuple[PacketSource, BuiltPacket]) -> Sealed:
    """The finished job sealed, signed and with two additions, laid out once."""
    return sealed(Case(source=released[0], store=kept, body=released[1]))


@pytest.fixture(scope="session")
def held(kept: Store) -> tuple[PacketSource, BuiltPacket]:
    """The open record on Letter: five procedures, more than six open points."""
    source = open_record(kept, paper="Letter")
    return source, built(source, kept)
