"""Stored files keep their bytes, their name and their mode, and say when they were changed."""

import hashlib
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import settings as django_settings
from pytest_django import Settings

from jobs import storage


@pytest.fixture(autouse=True)
def _root(settings: Settings, tmp_path: Path) -> None:
    settings.EVIDENCE_ROOT = tmp_path / "stored"


def files() -> list[Path]:
    return [found for found in Path(django_settings.EVIDENCE_ROOT).rglob("*") if found.is_file()]


def test_bytes_come_back_under_their_hash() -> None:
    sha256 = storage.put(b"a photo")
    assert sha256 == hashlib.sha256(b"a photo").hexdigest()
    assert storage.read(sha256) == b"a photo"
    assert b"".join(storage.pieces(sha256)) == b"a photo"
    assert storage.is_intact(sha256)
    assert storage.path(sha256).stat().st_mode & 0o777 == 0o600


def test_the_same_bytes_are_kept_once() -> None:
    assert storage.put(b"twice") == storage.put_pieces([b"tw", b"ice"])
    assert len(files()) == 1


def test_a_changed_file_is_noticed() -> None:
    sha256 = storage.put(b"original")
    storage.path(sha256).write_bytes(b"origimal")
    assert not storage.is_intact(sha256)
    with pytest.raises(storage.StoredBytesChangedError) as caught:
        storage.read(sha256)
    assert caught.value.code == "stored_bytes_changed"


def test_absent_bytes_are_said_to_be_absent() -> None:
    absent = hashlib.sha256(b"never stored").hexdigest()
    assert not storage.exists(absent)
    assert not storage.is_intact(absent)
    with pytest.raises(storage.StoredBytesMissingError) as caught:
        storage.read(absent)
    assert caught.value.code == "stored_bytes_missing"


@pytest.mark.parametrize("name", ["", "../../etc/passwd", "AB" * 32, "ab" * 31, "zz" * 32])
def test_only_hashes_name_files(name: str) -> None:
    with pytest.raises(ValueError, match="64 lower-case hex"):
        storage.path(name)


def test_a_broken_upload_leaves_nothing() -> None:
    def arriving():  # type: ignore[no-untyped-def]
        yield b"first piece"
        raise ConnectionError("the line broke")

    with pytest.raises(ConnectionError):
        storage.put_pieces(arriving())
    assert files() == []


# ------------------------------------------------------------------ taken away


def test_bytes_are_removed_once_and_only_when_nobody_just_brought_them() -> None:
    sha256 = storage.put(b"a photo")
    now = storage.path(sha256).stat().st_mtime
    before, after = (datetime.fromtimestamp(now + shift, tz=UTC) for shift in (-1, 1))
    assert storage.remove(sha256, unused_since=before) == "in_use"
    assert storage.is_intact(sha256)
    assert storage.remove(sha256, unused_since=after) == "removed"
    assert not files()
    assert storage.remove(sha256, unused_since=after) == "absent"


def test_bringing_the_same_bytes_again_counts_as_kept_anew() -> None:
    sha256 = storage.put(b"a photo")
    os.utime(storage.path(sha256), (1_000_000_000, 1_000_000_000))
    storage.put(b"a photo")
    long_ago = datetime.fromtimestamp(1_000_000_001, tz=UTC)
    assert storage.remove(sha256, unused_since=long_ago) == "in_use"


def test_a_removal_that_was_stopped_half_way_is_finished() -> None:
    """The file was moved away and the process was killed before it was deleted."""
    sha256 = storage.put(b"a photo")
    root = Path(django_settings.EVIDENCE_ROOT)
    (root / "leaving").mkdir()
    storage.path(sha256).rename(root / "leaving" / sha256)
    assert not storage.exists(sha256)
    assert storage.remove(sha256, unused_since=datetime(2100, 1, 1, tzinfo=UTC)) == "removed"
    assert not files()


def test_the_walk_names_every_file_in_order_and_nothing_that_arrives() -> None:
    names = sorted(storage.put(bytes([value])) for value in range(20))
    (Path(django_settings.EVIDENCE_ROOT) / "arriving" / "half").write_bytes(b"h")
    assert list(storage.walk()) == names
