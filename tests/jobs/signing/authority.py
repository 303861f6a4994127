"""A time-stamping authority for tests: the openssl program behind a small HTTP server on this machine."""

import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from jobs.signing.time_authority import Authority

CONFIG = """
[tsa]
default_tsa = here
[here]
serial = {folder}/serial
crypto_device = builtin
signer_cert = {folder}/tsa.pem
certs = {folder}/tsa.pem
signer_key = {folder}/tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ordering = yes
tsa_name = yes
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[ext]
basicConstraints = critical,CA:FALSE
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
[dn]
CN = Time stamping of the tests
[req]
distinguished_name = dn
prompt = no
"""
LOOPBACK = ("127.0.0.0/8", "::1/128")


@dataclass
class Desk:
    """The authority's files, what it was asked, and how it is to behave."""

    folder: Path
    asked: list[bytes] = field(default_factory=list)
    behaviour: str = "answers"
    address: str = ""

    @property
    def certificate(self) -> Path:
        return self.folder / "tsa.pem"

    def source(self, timeout_s: float = 5.0) -> Authority:
        return Authority(url=self.address, timeout_s=timeout_s, networks=LOOPBACK)

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["openssl", *arguments], cwd=self.folder, capture_output=True, text=True, check=False
        )

    def reply(self, query: bytes) -> bytes:
        (self.folder / "query").write_bytes(query)
        made = self.run(
            "ts", "-reply", "-config", "conf", "-section", "here", "-queryfile", "query", "-out", "reply"
        )
        assert made.returncode == 0, made.stderr
        return (self.folder / "reply").read_bytes()

    def verify(self, token: bytes, digest: bytes) -> bool:
        """What openssl says of a token over a digest."""
        (self.folder / "token").write_bytes(token)
        return (
            self.run(
                "ts", "-verify", "-digest", digest.hex(), "-in", "token", "-token_in", "-CAfile", "tsa.pem",
                "-partial_chain",
            ).returncode
            == 0
        )  # fmt: skip


def new_desk(folder: Path) -> Desk:
    """Makes the authority's key and certificate; extended key usage timeStamping (RFC 3161, 2.3)."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "conf").write_text(CONFIG.format(folder=folder))
    (folder / "serial").write_text("01")
    desk = Desk(folder)
    made = desk.run(
        "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "tsa.key", "-out", "tsa.pem",
        "-days", "3650", "-config", "conf", "-extensions", "ext",
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    return desk


class Server(ThreadingHTTPServer):
    """A port of this machine with a desk behind it."""

    daemon_threads = True

    def __init__(self, desk: Desk) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.desk = desk


class Handler(BaseHTTPRequestHandler):
    """Answers as the desk is told to behave."""

    server: "Server"

    def do_POST(self) -> None:
        query = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.desk.asked.append(query)
        getattr(self, self.server.desk.behaviour)(query)

    def answers(self, query: bytes) -> None:
        self.send(200, self.server.desk.reply(query))

    def broken(self, query: bytes) -> None:
        self.send(500, b"no")

    def another(self, query: bytes) -> None:
        """A sound token over something else: the digest in the request is changed on the way."""
        self.send(200, self.server.desk.reply(query.replace(query[24:56], bytes(32))))

    def garbage(self, query: bytes) -> None:
        self.send(200, b"\x30\x03\x02\x01\x00")

    def much(self, query: bytes) -> None:
        self.send(200, b"\x30" * 200_000)

    def page(self, query: bytes) -> None:
        self.send(200, b"<html>", "text/html")

    def elsewhere(self, query: bytes) -> None:
        self.send_response(302)
        self.send_header("Location", "http://127.0.0.1:1/")
        self.end_headers()

    def drips(self, query: bytes) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "application/timestamp-reply")
        self.send_header("Content-Length", "5000")
        self.end_headers()
        try:
            for _ in range(200):
                self.wfile.write(b"\x30")
                self.wfile.flush()
                time.sleep(0.05)
        except OSError:
            return

    def hangs(self, query: bytes) -> None:
        time.sleep(3)

    def send(self, status: int, body: bytes, kind: str = "application/timestamp-reply") -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *arguments: object) -> None:
        """Nothing on the screen."""


@contextmanager
def served(desk: Desk) -> Iterator[Desk]:
    """The desk behind a port of 127.0.0.1; ``desk.behaviour`` may be changed meanwhile."""
    server = Server(desk)
    desk.address = f"http://127.0.0.1:{server.server_address[1]}/tsa"
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield desk
    finally:
        server.shutdown()
        server.server_close()
