"""The last hand on a rendered packet: attachments with relationship and type, repeatable bytes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pikepdf
from pikepdf import Array, AttachedFileSpec, Dictionary, Name, Pdf, String


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """One file to embed; ``path`` is where its bytes lie."""

    name: str
    media_type: str
    description: str
    path: Path


def finish(rendered: Path, target: Path, attachments: Sequence[Attachment], dated: datetime) -> int:
    """Embeds ``attachments``, lists each once under /AF, and saves without recompressing anything.

    Originals stay byte for byte and uncompressed inside the file. Nothing random and no clock goes in.

    Returns:
        The number of pages.
    """
    with Pdf.open(rendered) as pdf:
        for item in attachments:
            pdf.attachments[item.name] = AttachedFileSpec(
                pdf,
                item.path.read_bytes(),
                filename=item.name,
                description=item.description,
                mime_type=item.media_type,
                relationship=Name.Data,
                creation_date=_pdf_date(dated),
                mod_date=_pdf_date(dated),
            )
        list_associated_files(pdf)
        forbid_interpolation(pdf)
        pages = len(pdf.pages)
        save(pdf, target)
    return pages


def save(pdf: Pdf, target: Path) -> None:
    """Saves repeatably: the same content gives the same bytes."""
    pdf.save(
        target,
        deterministic_id=True,
        compress_streams=False,
        preserve_pdfa=True,
        object_stream_mode=pikepdf.ObjectStreamMode.disable,
        fix_metadata_version=False,
    )


def _pdf_date(at: datetime) -> str:
    return at.astimezone(UTC).strftime("D:%Y%m%d%H%M%SZ")


def list_associated_files(pdf: Pdf) -> None:
    """Every embedded file once under /AF of the catalogue, in order of name (ISO 19005-3).

    The name tree becomes one leaf, however many files there are: the form that sealing adds to and that the
    check of a seal reads.
    """
    names = sorted(pdf.attachments)
    specs = [pdf.attachments[name].obj for name in names]
    if specs:
        pdf.Root.AF = pdf.make_indirect(Array(specs))
        pairs = [item for name, spec in zip(names, specs, strict=True) for item in (String(name), spec)]
        pdf.Root.Names.EmbeddedFiles = pdf.make_indirect(Dictionary(Names=Array(pairs)))


def forbid_interpolation(pdf: Pdf) -> None:
    """ISO 19005 forbids /Interpolate true in images."""
    for item in pdf.objects:
        is_image = isinstance(item, pikepdf.Stream) and item.get("/Subtype") == Name.Image
        if is_image and isinstance(item, pikepdf.Stream) and "/Interpolate" in item:
            del item["/Interpolate"]


def add_form(pdf: Pdf, form: pikepdf.Object, page: pikepdf.Page) -> None:
    """Paints ``form`` over ``page`` as an artifact, so that the tagged reading order stays as it was."""
    resources = page.obj.get("/Resources")
    if resources is None:
        resources = page.obj["/Resources"] = Dictionary()
    if "/XObject" not in resources:
        resources["/XObject"] = Dictionary()
    resources["/XObject"]["/Stamp"] = form
    # What was there is closed in its own graphics state, so that the stamp starts from a clean one.
    page.contents_add(b"q\n", prepend=True)
    page.contents_add(b"\nQ /Artifact BMC q /Stamp Do Q EMC\n")
