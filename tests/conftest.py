"""What every test shares. The Makefile sets the environment (WM_MODE=test) before Django starts."""

# Cleaning up after transactional tests although the database guards its rows; PostgreSQL and Redis for tests;
# which tests stay together on one worker.
pytest_plugins = ("tests.record_guards", "tests.servers", "tests.spread")
