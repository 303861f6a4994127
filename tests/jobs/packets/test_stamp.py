"""A recipient's copy: stamped on every page, still PDF/A-3, same root, no longer the sealed file."""

import io
from datetime import UTC, datetime
from pathlib import Path

import pypdf
import pytest

from jobs.packets.build import BuiltPacket
from jobs.packets.source import PacketSource
from jobs.packets.stamp import stamp_pdf
from jobs.packets.verify import verify_pdf
from tests.jobs.packets.pdfa import faults
from tests.jobs.packets.test_packet_pdf import text_of

pytestmark = pytest.mark.slow
Case = tuple[PacketSource, BuiltPacket]
AT = datetime(2026, 6, 5, 14, 5, tzinfo=UTC)
LINE = "Prepared for Harrowmere Mutual, Joris Quell, grant 118, until 4 Dec 2026."


@pytest.fixture(scope="module")
def copy(released: Case) -> bytes:
    return stamp_pdf(released[1].pdf, LINE, told(released), AT)


def told(released: Case) -> dict[str, str]:
    return {"recipient": "Joris Quell", "sealed_pdf_sha256": released[1].pdf_sha256}


def test_every_page_names_the_recipient(copy: bytes, released: Case, tmp_path: Path) -> None:
    pages = len(pypdf.PdfReader(io.BytesIO(copy)).pages)
    assert pages == len(pypdf.PdfReader(io.BytesIO(released[1].pdf)).pages)
    assert text_of(copy, tmp_path).count("Prepared for Harrowmere Mutual, Joris Quell") == pages
    assert "Prepared for" not in text_of(released[1].pdf, tmp_path)


def test_the_copy_is_still_pdf_a_3(copy: bytes) -> None:
    assert faults(copy) == []


def test_the_copy_verifies_by_its_own_root(copy: bytes, released: Case) -> None:
    sealed = released[1]
    found = verify_pdf(copy, expected_pdf_sha256=sealed.pdf_sha256)
    # Not sealed yet, as it is before it is handed out: that is all that is wrong with it.
    assert {line.what for line in found.lines if line.result == "differs"} == {"seal"}
    assert found.root == sealed.root
    assert "Joris Quell" in found.lines[0].text


def test_a_copy_of_another_file_is_noticed(copy: bytes) -> None:
    assert verify_pdf(copy, expected_pdf_sha256="00" * 32).line("file").at_fault == ("recipient.json",)


def test_the_same_download_gives_the_same_bytes(copy: bytes, released: Case) -> None:
    assert stamp_pdf(released[1].pdf, LINE, told(released), AT) == copy
    later = stamp_pdf(released[1].pdf, LINE, told(released), AT.replace(hour=15))
    assert later != copy


def test_markup_in_a_recipient_stays_text(released: Case, tmp_path: Path) -> None:
    hostile = 'Prepared for <img src="http://127.0.0.1:1/x">'
    made = stamp_pdf(released[1].pdf, hostile, {"recipient": hostile}, AT)
    assert '<img src="http://127.0.0.1:1/x">' in text_of(made, tmp_path)
