"""What keeps an original out of a packet for outside hands: another car, person or number in its bytes."""

import io
import json
import time

import pikepdf
import pytest

from jobs.packets.outside import ANOTHERS, CUSTOMERS, kind_in_bytes, pdf_text
from jobs.packets.strangers import Known

OWN_VIN, OTHER_VIN = "Z0ASD1F89S2011902", "Z0ACR4H24T1004217"
KNOWN = Known(
    vin=OWN_VIN,
    job_id="417",
    others={
        "ólafur quill": "another customer",
        "em-2026-0418": "another order",
        "brk 902": "another vehicle",
    },
    own={"r. ashgrove": "the customer"},
)


def page(text: str, **properties: str) -> bytes:
    """A PDF whose one page says the text."""
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(200, 200))
    pdf.pages[0].Contents = pdf.make_stream(f"BT /F1 9 Tf 9 99 Td ({text}) Tj ET".encode("latin-1"))
    for name, value in properties.items():
        pdf.docinfo[f"/{name}"] = value
    buffer = io.BytesIO()
    pdf.save(buffer)
    return buffer.getvalue()


def xmp(text: str) -> bytes:
    pdf = pikepdf.new()
    pdf.add_blank_page()
    with pdf.open_metadata() as metadata:
        metadata["dc:title"] = text
    buffer = io.BytesIO()
    pdf.save(buffer)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "media_type", "kind"),
    [
        (b"t,volts\n1,12.6\n", "text/csv", ""),
        (f"vin,{OWN_VIN}\n".encode(), "text/csv", ""),
        (f"vin,{OWN_VIN.lower()}\n".encode(), "text/csv", ""),
        (f"vin,{OTHER_VIN}\n".encode(), "text/csv", ANOTHERS),
        # In a picture's metadata, in a file of whatever type.
        (b"\xff\xd8\xff\xe1Exif\0\0" + OTHER_VIN.encode() + b"\0", "image/jpeg", ANOTHERS),
        (b"\xff\xd8\xff\xe1Exif\0\0" + b"R. Ashgrove", "image/jpeg", ""),
        ("note,left by ÓLAFUR QUILL\n".encode(), "text/csv", ANOTHERS),
        ("note,left by Ólafur Quill\n".encode("utf-16"), "text/csv", ANOTHERS),
        (b"note,beside BRK902\n", "text/csv", ANOTHERS),
        (b"note,see EM-2026-0418\n", "text/csv", ANOTHERS),
        (b"note,told R Ashgrove\n", "text/csv", CUSTOMERS),
        # What is another's counts more than what is the customer's own.
        ("R. Ashgrove and Ólafur Quill".encode(), "text/plain", ANOTHERS),
        (json.dumps({"note": "Ólafur Quill"}).encode(), "application/json", ANOTHERS),
        (json.dumps({"note": ["R.\n Ashgrove"]}).encode(), "application/json", CUSTOMERS),
        (b"[" * 5000, "application/json", ""),
        (b'<gpx><name>EM-2026-0418</name></gpx>', "application/gpx+xml", ANOTHERS),
        (page("Scan of the lane"), "application/pdf", ""),
        (page("For R. Ashgrove"), "application/pdf", CUSTOMERS),
        (page("Order EM-2026-0418"), "application/pdf", ANOTHERS),
        (page("Scan", Title=f"Report {OTHER_VIN}"), "application/pdf", ANOTHERS),
        (xmp("EM-2026-0418"), "application/pdf", ANOTHERS),
        (b"%PDF-1.7 broken", "application/pdf", ANOTHERS),
    ],
)  # fmt: skip
def test_what_is_in_the_bytes(data: bytes, media_type: str, kind: str) -> None:
    assert kind_in_bytes(data, media_type, KNOWN) == kind


def test_a_pdf_in_pieces_is_read_as_one_line() -> None:
    pdf = pikepdf.new()
    pdf.add_blank_page()
    pdf.pages[0].Contents = pdf.make_stream(b"BT /F1 9 Tf [(EM-20) -20 (26-0418)] TJ T* (next) ' ET")
    buffer = io.BytesIO()
    pdf.save(buffer)
    assert (pdf_text(buffer.getvalue()) or "").splitlines()[0] == "EM-2026-0418"
    assert kind_in_bytes(buffer.getvalue(), "application/pdf", KNOWN) == ANOTHERS
    assert pdf_text(b"") is None


def test_a_long_log_is_looked_through_in_seconds_and_its_last_line_too() -> None:
    """Some 3 MB; every run of six words of it would be 1.2 million phrases and most of a minute."""
    rows = [f"2026-05-05T15:{at % 60:02d}:00Z,43.{at:06d},-98.{at:06d},12.6,{at}" for at in range(60_000)]
    started = time.process_time()
    assert kind_in_bytes("\n".join(rows).encode(), "text/csv", KNOWN) == ""
    assert time.process_time() - started < 10
    assert kind_in_bytes("\n".join([*rows, "Ólafur Quill"]).encode(), "text/csv", KNOWN) == ANOTHERS
