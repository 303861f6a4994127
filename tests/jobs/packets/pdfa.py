"""A structural check of PDF/A-3 (ISO 19005-3) for these tests; its rules are from memory of the standard.

Not a full validator: output intent, XMP identification, embedded fonts, tagging, language, associated files
with relationship and media type, no interpolation, no encryption, no scripts, no outside references.
"""

import io
import re
from collections.abc import Iterator

import pikepdf
from pikepdf import Dictionary, Name, Stream

RELATIONSHIPS = {"/Source", "/Data", "/Alternative", "/Supplement", "/Unspecified"}


def faults(pdf: bytes) -> list[str]:
    """Everything found that PDF/A-3a does not allow; empty where nothing was."""
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        found = [*_catalogue(opened), *_metadata(opened), *_fonts(opened), *_objects(opened)]
        return [*found, *_attachments(opened)]


def _catalogue(pdf: pikepdf.Pdf) -> Iterator[str]:
    root = pdf.Root
    if pdf.is_encrypted:
        yield "encrypted"
    intents = [intent for intent in root.get("/OutputIntents", []) if Name("/GTS_PDFA1") == intent.S]
    if not intents or "/DestOutputProfile" not in intents[0]:
        yield "no output intent"
    if not root.get("/MarkInfo", {}).get("/Marked", False):
        yield "not marked as tagged"
    if "/StructTreeRoot" not in root:
        yield "no structure tree"
    if not str(root.get("/Lang", "")):
        yield "no language"
    if "/ID" not in pdf.trailer:
        yield "no file identifier"


def _metadata(pdf: pikepdf.Pdf) -> Iterator[str]:
    if "/Metadata" not in pdf.Root:
        yield "no XMP metadata"
        return
    xmp = pdf.Root.Metadata.read_bytes().decode("utf-8")
    if not re.search(r"pdfaid:part(=\"|>)\s*3", xmp):
        yield "XMP does not say part 3"
    if not re.search(r"pdfaid:conformance(=\"|>)\s*[ABU]", xmp):
        yield "XMP names no conformance level"


def _fonts(pdf: pikepdf.Pdf) -> Iterator[str]:
    for item in pdf.objects:
        if not isinstance(item, Dictionary) or item.get("/Type") != Name.FontDescriptor:
            continue
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(item.keys()):
            yield f"font {item.get('/FontName')} is not embedded"
    for item in pdf.objects:
        if isinstance(item, Dictionary) and item.get("/Type") == Name.Font:
            simple = item.get("/Subtype") in (Name.Type1, Name.TrueType)
            if simple and "/FontDescriptor" not in item:
                yield f"font {item.get('/BaseFont')} has no descriptor"


def _objects(pdf: pikepdf.Pdf) -> Iterator[str]:
    for item in pdf.objects:
        if isinstance(item, Stream):
            if item.get("/Interpolate", False):
                yield "an image is interpolated"
            if "/F" in item:
                yield "a stream lies outside the file"
            if item.get("/Filter") == Name.LZWDecode:
                yield "LZW compression"
        if isinstance(item, Dictionary) and item.get("/S") in (Name.JavaScript, Name.Launch):
            yield "an action that is not allowed"


def _attachments(pdf: pikepdf.Pdf) -> Iterator[str]:
    listed = [spec.objgen for spec in pdf.Root.get("/AF", [])]
    if len(listed) != len(set(listed)):
        yield "an associated file is listed twice"
    for name, spec in pdf.attachments.items():
        if spec.obj.objgen not in listed:
            yield f"{name} is not listed under /AF"
        if str(spec.obj.get("/AFRelationship", "")) not in RELATIONSHIPS:
            yield f"{name} has no relationship"
        if "/UF" not in spec.obj or "/F" not in spec.obj:
            yield f"{name} lacks one of its names"
        embedded = spec.obj.EF.F
        if not re.fullmatch(r"/[\w.+-]+/[\w.+-]+", str(embedded.get("/Subtype", ""))):
            yield f"{name} has no media type"
        if "/ModDate" not in embedded.get("/Params", {}):
            yield f"{name} has no date"
