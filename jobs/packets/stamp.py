"""A copy for one recipient: the packet's pages with a line in the free part of each foot.

What is stored never changes. The copy is derived from the body for one download: it carries the same
attachments, manifest and root, so it can be verified like the original, and ``recipient.json`` besides, which
names the recipient and the hashes of the sealed file that the pages come from. It is then sealed like one.
"""

import io
import tempfile
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pikepdf
from pikepdf import AttachedFileSpec, Name, Pdf

from jobs.packets.enclosed import RECIPIENT_NAME
from jobs.packets.finish import add_form, list_associated_files, save
from jobs.packets.pages.page import stamp_page
from jobs.packets.render import Order, render_pdf
from rules.canonical import canonical_bytes, sha256_hex


def stamp_pdf(body: bytes, line: str, recipient: Mapping[str, Any], at: datetime) -> bytes:
    """The packet's body with ``line`` at the left of every foot, ready to be sealed.

    Args:
        body: pages and attachments before sealing.
        line: what the stamp says; about 110 characters fit on its two lines.
        recipient: plain data for recipient.json; the time is added.
        at: when the copy is made.

    Raises:
        RenderError: the stamp could not be made.
    """
    told = {**recipient, "at": at.astimezone(UTC).isoformat()}
    with Pdf.open(io.BytesIO(body)) as pdf:
        box = pdf.pages[0].mediabox
        width, height = float(box[2]) - float(box[0]), float(box[3]) - float(box[1])
        page = stamp_page(line, width, height)
        identifier = sha256_hex(canonical_bytes(told))[:32]
        stamp = render_pdf(Order(page=page, dated=at, identifier=identifier, variant=None))
        with Pdf.open(io.BytesIO(stamp)) as source:
            form = pdf.copy_foreign(source.pages[0].as_form_xobject())
        for sealed_page in pdf.pages:
            add_form(pdf, form, sealed_page)
        _attach(pdf, told, at)
        return _saved(pdf)


def _attach(pdf: Pdf, told: Mapping[str, Any], at: datetime) -> None:
    date = at.astimezone(UTC).strftime("D:%Y%m%d%H%M%SZ")
    pdf.attachments[RECIPIENT_NAME] = AttachedFileSpec(
        pdf,
        canonical_bytes(dict(told)),
        filename=RECIPIENT_NAME,
        description="Whom this copy was made for, and the hash of the sealed file",
        mime_type="application/json",
        relationship=Name.Data,
        creation_date=date,
        mod_date=date,
    )
    list_associated_files(pdf)


def _saved(pdf: pikepdf.Pdf) -> bytes:
    with tempfile.TemporaryDirectory(prefix="packet-copy-") as folder:
        target = Path(folder) / "copy.pdf"
        save(pdf, target)
        return target.read_bytes()
