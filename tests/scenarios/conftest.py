"""A stage per module: played once, read by many tests; each test's own steps are undone after it."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_django.plugin import DjangoDbBlocker

from tests.jobs.replayed import every_judgement_is_reached_again
from tests.scenarios.stage import Stage, open_stage


@pytest.fixture(scope="module")
def stage(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Stage]:
    folder: Path = tmp_path_factory.mktemp("stage")
    with django_db_blocker.unblock(), open_stage(folder) as opened:
        yield opened
        # Whatever was judged while the scenarios played is reached again from what was kept with it.
        every_judgement_is_reached_again()
