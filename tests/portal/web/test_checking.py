"""The public page that checks a file: real files in a real child process, hostile ones, nothing kept."""

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from jobs.models import PublicCheck
from jobs.packets import check_child
from jobs.services import public_check
from rules.seal.plain_zip import of_bytes, zip_pieces
from tests.jobs.packets.packet_case import Store, finished
from tests.jobs.packets.sealed_case import Case, Sealed, sealed, signer

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, bytes]:
    folder = tmp_path_factory.mktemp("verify")
    store = Store(folder)
    done = sealed(Case(source=finished(store), store=store))
    done.bundle(folder / "bundle.zip")
    return done, (folder / "bundle.zip").read_bytes()


@pytest.fixture(autouse=True)
def _uploads(settings: Any, tmp_path: Path) -> Iterator[None]:
    """Uploads go to a folder of their own, which is empty again after each test."""
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    yield
    assert list(tmp_path.iterdir()) == []


def post(data: bytes, key: str = "", **more: Any) -> Any:
    return Client().post("/verify/", {"file": SimpleUploadedFile("x", data), "key": key}, **more)


def test_anybody_may_open_the_page_and_it_says_what_it_is_worth() -> None:
    answer = Client().get("/verify/")
    assert answer.status_code == 200
    text = answer.content.decode()
    assert "check.pyz" in text
    assert "nor that the car is safe" in text
    assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
    assert not answer.cookies


def test_a_bundle_and_a_packet_are_told_line_by_line(made: tuple[Sealed, bytes]) -> None:
    done, bundle = made
    text = post(bundle).content.decode()
    assert "Nothing that was checked differs." in text
    assert "27 proofs judged again give the same verdicts." in text
    assert done.case.source.serial in text
    text = post(done.pdf, key=signer().key_sha256).content.decode()
    assert "The key is the one you named" in text
    assert "not in this file, only their hashes" in text


def test_a_changed_file_and_another_key_are_told(made: tuple[Sealed, bytes]) -> None:
    _, bundle = made
    at = bundle.index(b"evidence-0001.jpg") + 400
    text = post(bundle[:at] + bytes([bundle[at] ^ 1]) + bundle[at + 1 :]).content.decode()
    assert "It differs. Do not rely on this file." in text
    assert "content of EM-2026-0417-P1/data/evidence-0001.jpg" in text
    assert "not by the key you named" in post(bundle, key="5a" * 32).content.decode()


HOSTILE = {
    "empty": b"",
    "text": b"hello",
    "page": b"<html><script>alert(1)</script>",
    "cut PDF": b"%PDF-1.7\n1 0 obj",
    "PDF of nothing": b"%PDF-1.7\n" + b"\0" * 1000,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_is_no_packet_is_refused(name: str) -> None:
    answer = post(HOSTILE[name])
    assert answer.status_code == 422
    assert "Not checked." in answer.content.decode()
    assert "<script>" not in answer.content.decode()


def test_names_from_the_file_are_shown_and_never_run(made: tuple[Sealed, bytes]) -> None:
    manifest = (
        b'{"entries":[{"path":"<script>alert(1)</script>\\u202e"}],"format":"packet manifest 2","root":"00"}'
    )
    data = b"".join(zip_pieces([of_bytes("b/data/manifest.json", manifest), of_bytes("b/bagit.txt", b"x")]))
    text = post(data).content.decode()
    assert "&lt;script&gt;" in text
    assert "<script>" not in text
    assert "\u202e" not in text


def test_deep_and_large_json_stops_in_the_child_and_nowhere_else() -> None:
    deep = b"[" * 200_000
    answer = post(
        b"".join(zip_pieces([of_bytes("b/data/manifest.json", deep), of_bytes("b/bagit.txt", b"x")]))
    )
    assert answer.status_code == 200
    assert "It differs" in answer.content.decode()


def test_a_check_that_takes_too_long_is_stopped(
    monkeypatch: pytest.MonkeyPatch, made: tuple[Sealed, bytes]
) -> None:
    monkeypatch.setattr(check_child, "LONGEST_S", 0.05)
    answer = post(made[1])
    assert answer.status_code == 422
    assert "was stopped" in answer.content.decode()


def test_a_check_that_takes_too_much_memory_is_stopped(
    monkeypatch: pytest.MonkeyPatch, made: tuple[Sealed, bytes]
) -> None:
    monkeypatch.setattr(check_child, "MOST_MEMORY_BYTES", 40 << 20)
    assert "was stopped" in post(made[1]).content.decode()


def test_too_large_a_file_is_refused_by_its_length(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = Client().post(
        "/verify/",
        data=b"x",
        content_type="multipart/form-data; boundary=b",
        headers={"Content-Length": str(10**12)},
    )
    assert answer.status_code == 413
    monkeypatch.setattr(public_check, "MOST_BYTES", 100)
    assert post(b"%PDF-" + b"x" * 200).status_code == 413


@pytest.mark.parametrize("body", [{}, {"file": "no file but a word"}])
def test_without_a_file_there_is_nothing_to_check(body: dict[str, str]) -> None:
    assert Client().post("/verify/", body).status_code == 400


def test_a_fingerprint_of_another_form_is_told() -> None:
    assert "64 hex digits" in post(b"%PDF-", key="abc").content.decode()


def test_an_address_that_asks_often_waits_and_another_does_not() -> None:
    for _ in range(public_check.PER_MINUTE):
        assert post(b"hello").status_code == 422
    answer = post(b"hello")
    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "60"
    assert post(b"hello", REMOTE_ADDR="192.0.2.77").status_code == 422
    assert PublicCheck.objects.filter(source="").get().count == public_check.PER_MINUTE + 1


def test_only_so_many_checks_run_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_child, "AT_ONCE", 0)
    with pytest.raises(check_child.Unavailable):
        check_child.check_in_child(Path(__file__))


def test_nothing_is_kept(made: tuple[Sealed, bytes], settings: Any, tmp_path_factory: Any) -> None:
    store = tmp_path_factory.mktemp("store")
    settings.EVIDENCE_ROOT = store
    before = set(os.listdir(tempfile.gettempdir()))
    assert post(made[1]).status_code == 200
    assert list(store.iterdir()) == []
    new = {
        name
        for name in set(os.listdir(tempfile.gettempdir())) - before
        if name.startswith(("tmp", "packet-check"))
    }
    assert new <= {f"packet-checks-{os.getuid()}"}


def test_a_packet_alone_goes_through_the_child(made: tuple[Sealed, bytes], tmp_path: Path) -> None:
    file = tmp_path / "packet.pdf"
    file.write_bytes(made[0].pdf)
    found = check_child.check_in_child(file, key=signer().key_sha256)
    file.unlink()
    assert (found.form, found.agrees, found.line("key").result) == ("packet", True, "agrees")
