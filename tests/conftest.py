"""Test environment: test mode, a throwaway data folder, no network."""

import os
import tempfile

os.environ.setdefault("WM_MODE", "test")
os.environ.setdefault("WM_INSECURE_HTTP", "true")
os.environ.setdefault("WM_DATA_DIR", tempfile.mkdtemp(prefix="witness-mark-test-"))
os.environ.setdefault("WM_LOG_LEVEL", "WARNING")

pytest_plugins = ("tests.record_guards", "tests.servers")
