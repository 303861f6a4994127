"""Page copies: made once, kept per organisation, made anew where their bytes are gone, none of texts."""

from pathlib import Path
from typing import Any

import pytest

from jobs import storage
from jobs.models import Organisation, PictureCopy, scope
from jobs.packets import copies
from jobs.packets.copies import copies_of
from tests.jobs import rows
from tests.jobs.intake.pictures import encoded, opened, scene
from tests.jobs.rows import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


@pytest.fixture
def owner(settings: Any, tmp_path: Path) -> Organisation:
    settings.EVIDENCE_ROOT = tmp_path / "stored"
    return rows.organisation()


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Which pictures were decoded, in order."""
    seen: list[str] = []
    real = copies._made

    def counted(sha256: str, size_bytes: int) -> Any:
        seen.append(sha256)
        return real(sha256, size_bytes)

    monkeypatch.setattr(copies, "_made", counted)
    return seen


def of(owner: Organisation, pictures: dict[str, int]) -> dict[str, Any]:
    with scope(owner.pk):
        return copies_of(organisation=owner, pictures=pictures, as_of=NOON)


def test_copies_are_made_once_and_by_each_organisation_for_itself(
    owner: Organisation, made: list[str]
) -> None:
    data = encoded(scene(2400, 1800))
    photo, text = storage.put(data), storage.put(b"no picture at all")
    pictures = {photo: len(data), text: 17, "a" * 64: 9}
    found = of(owner, pictures)
    assert set(found) == {photo}
    assert {use: opened(storage.read(sha256)).size for use, sha256 in found[photo].items()} == {
        "small": (1200, 900), "large": (2400, 1800),
    }  # fmt: skip
    assert sorted(made) == sorted([photo, text])
    assert of(owner, {photo: len(data)}) == found
    assert len(made) == 2
    # Another organisation keeps rows of its own, over the same bytes.
    other = rows.organisation("Sallowfield Mobile Aiming")
    assert of(other, {photo: len(data)}) == found
    with scope(other.pk):
        assert PictureCopy.objects.count() == 2
    with scope(owner.pk):
        assert PictureCopy.objects.count() == 2


def test_a_copy_whose_bytes_are_gone_is_made_anew_while_the_picture_is_there(
    owner: Organisation, made: list[str]
) -> None:
    data = encoded(scene(1200, 900))
    photo = storage.put(data)
    found = of(owner, {photo: len(data)})
    storage.path(found[photo]["small"]).unlink()
    assert of(owner, {photo: len(data)}) == found
    assert len(made) == 2
    assert storage.is_intact(found[photo]["small"])
    storage.path(photo).unlink()
    storage.path(found[photo]["small"]).unlink()
    assert of(owner, {photo: len(data)}) == {}
    with scope(owner.pk):
        assert PictureCopy.objects.count() == 2
