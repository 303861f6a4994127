"""What every test shares. The Makefile sets the environment (WM_MODE=test) before Django starts."""

import pytest

# Cleaning up after transactional tests although the database guards its rows; PostgreSQL and Redis for tests.
pytest_plugins = ("tests.record_guards", "tests.servers")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keeps the slow tests of a file on one worker: what they share is made once, not once a worker."""
    for item in items:
        if item.get_closest_marker("slow") and not item.get_closest_marker("xdist_group"):
            item.add_marker(pytest.mark.xdist_group(item.location[0]))
