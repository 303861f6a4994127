"""The real web server and the real worker of a demonstration, as child processes that end with it."""

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from types import TracebackType
from typing import Self


class NotReadyError(Exception):
    """A process ended, or did not answer in time."""


class Processes:
    """Starts gunicorn and the worker; on leaving the ``with`` block both are ended and waited for."""

    def __init__(self, base_dir: Path, port: int, log_dir: Path) -> None:
        self.base_dir = base_dir
        self.port = port
        self.log_dir = log_dir
        self.running: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> Self:
        try:
            web = [sys.executable, "-m", "gunicorn", "portal.wsgi:application", "--no-control-socket"]
            web += ["--bind", f"127.0.0.1:{self.port}", "--worker-class", "gthread"]
            web += ["--logger-class", "portal.log_lines.LinkFreeLogger"]
            self._start("web", [*web, "--workers", "2", "--threads", "4"])
            self._start("worker", [sys.executable, "manage.py", "run_worker"])
            self._wait_until_ready()
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _start(self, name: str, command: list[str]) -> None:
        log = (self.log_dir / f"{name}.log").open("wb")
        with log:
            process = subprocess.Popen(  # noqa: S603 - our own programs
                command, cwd=self.base_dir, stdout=log, stderr=subprocess.STDOUT, env=os.environ.copy()
            )
        self.running.append(process)

    def _wait_until_ready(self, within_s: float = 60) -> None:
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            self.check_alive()
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/livez", timeout=5):
                    return
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                time.sleep(0.2)
        raise NotReadyError(f"the web server did not answer within {within_s:.0f} s; see {self.log_dir}")

    def check_alive(self) -> None:
        for process in self.running:
            if process.poll() is not None:
                raise NotReadyError(f"a process ended with status {process.returncode}; see {self.log_dir}")

    def stop(self) -> None:
        for process in self.running:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
        for process in self.running:
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.running.clear()


def free_port(wanted: int) -> int:
    """``wanted`` if it is free, else any free port on this machine."""
    for port in (wanted, 0):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise NotReadyError("no free port")
