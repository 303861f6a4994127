"""Seeded data folders for fault tests on the embedded database."""

import shutil
from pathlib import Path

import pytest

from tests.faults.stack import SEED, Stack, empty_record


@pytest.fixture(scope="session")
def seeded_folder(django_db_setup: None, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the embedded database, seeded once; tests work on copies."""
    folder = tmp_path_factory.mktemp("seeded")
    empty_record(folder)
    Stack(data_dir=folder).program(SEED)
    return folder


@pytest.fixture
def embedded(seeded_folder: Path, tmp_path: Path) -> Path:
    """A data folder of this test's own with one job that waits to be judged."""
    return Path(shutil.copytree(seeded_folder, tmp_path / "data"))
