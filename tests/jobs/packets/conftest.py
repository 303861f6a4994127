"""A store of bytes and the packets of one job, built once for the tests that only read them."""

from pathlib import Path

import pytest

from jobs.packets.build import BuiltPacket
from jobs.packets.source import PacketSource
from tests.jobs.packets.packet_case import Store, built, finished, open_record


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
def held(kept: Store) -> tuple[PacketSource, BuiltPacket]:
    """The open record on Letter: five procedures, more than six open points."""
    source = open_record(kept, paper="Letter")
    return source, built(source, kept)
