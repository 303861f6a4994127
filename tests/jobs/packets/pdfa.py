"""A structural check of PDF/A-3a (ISO 19005-3) and of what PDF/UA-1 (ISO 14289-1) asks of a tagged file.

The rules are from memory of the standards; no full validator. Checked: output intent with its profile, XMP
part and conformance, embedded fonts with a map to Unicode, tagging (marked, every page's content tagged or an
artifact, headings in order, tables with header cells, pictures with text in their place), language, title,
associated files with relationship, media type and date, no interpolation, encryption, scripts, outside
references, no transparency without a blending space, tab order by structure.
"""

import io
import re
from collections.abc import Iterator

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream

RELATIONSHIPS = {"/Source", "/Data", "/Alternative", "/Supplement", "/Unspecified"}


# What the pages of a packet must be made of.
OF_A_PACKET = frozenset({"/H1", "/H2", "/P", "/Table", "/TH", "/Figure"})


def faults(pdf: bytes, must_have: frozenset[str] = OF_A_PACKET) -> list[str]:
    """Everything found that PDF/A-3a does not allow; empty where nothing was."""
    with pikepdf.Pdf.open(io.BytesIO(pdf)) as opened:
        found = [*_catalogue(opened), *_metadata(opened), *_fonts(opened), *_objects(opened)]
        return [*found, *_attachments(opened), *_structure(opened, must_have), *_pages(opened)]


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
    elif not re.fullmatch(r"[a-z]{2,3}(-[A-Z]{2})?", str(root.Lang)):
        yield f"language {root.Lang} is no language tag"
    if "/ID" not in pdf.trailer:
        yield "no file identifier"
    yield from _opening(root)


def _opening(root: pikepdf.Object) -> Iterator[str]:
    """What a reader is told or made to do when it opens the file."""
    if "/JavaScript" in root.get("/Names", {}) or "/AA" in root or _is_script(root.get("/OpenAction")):
        yield "a script runs when the file is opened"
    # A certified file points to its signature there, and to nothing else.
    if set(root.get("/Perms", {})) - {"/DocMDP"} or "/OCProperties" in root:
        yield "a permission or layer dictionary that is not expected here"
    if not root.get("/ViewerPreferences", {}).get("/DisplayDocTitle", False):
        yield "the title is not shown"
    if "/Outlines" not in root:
        yield "no bookmarks"


def _is_script(action: object) -> bool:
    return isinstance(action, Dictionary) and action.get("/S") == Name.JavaScript


def _metadata(pdf: pikepdf.Pdf) -> Iterator[str]:
    if "/Metadata" not in pdf.Root:
        yield "no XMP metadata"
        return
    xmp = pdf.Root.Metadata.read_bytes().decode("utf-8")
    if not re.search(r"pdfaid:part(=\"|>)\s*3", xmp):
        yield "XMP does not say part 3"
    if not re.search(r"pdfaid:conformance(=\"|>)\s*A", xmp):
        yield "XMP does not say conformance A"
    if "dc:title" not in xmp:
        yield "XMP has no title"
    if not re.search(r"xmp:CreateDate", xmp):
        yield "XMP has no date"
    if "/Filter" in pdf.Root.Metadata:
        yield "the XMP packet is compressed"


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
            if item.get("/Subtype") in (Name.Type0, Name.TrueType, Name.Type1) and "/ToUnicode" not in item:
                yield f"font {item.get('/BaseFont')} has no map to Unicode"


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


# ------------------------------------------------------------------ tags

_HEADINGS = {f"/H{level}": level for level in range(1, 7)}


def _elements(pdf: pikepdf.Pdf) -> Iterator[tuple[str, pikepdf.Object, tuple[str, ...]]]:
    """Every structure element in reading order: its type, itself, the types above it."""
    roles = {str(key): str(value) for key, value in pdf.Root.StructTreeRoot.get("/RoleMap", {}).items()}
    stack = [(pdf.Root.StructTreeRoot.get("/K"), ())]
    while stack:
        kid, above = stack.pop()
        if isinstance(kid, Array):
            stack += [(one, above) for one in reversed(list(kid))]
            continue
        if not isinstance(kid, Dictionary) or "/S" not in kid:
            continue
        kind = str(kid.S)
        kind = roles.get(kind, kind)
        yield kind, kid, above
        if "/K" in kid:
            stack.append((kid.K, (*above, kind)))


def _structure(pdf: pikepdf.Pdf, must_have: frozenset[str]) -> Iterator[str]:
    if "/StructTreeRoot" not in pdf.Root:
        return
    if "/ParentTree" not in pdf.Root.StructTreeRoot:
        yield "no tree from content to structure"
    elements = list(_elements(pdf))
    yield from _headings([kind for kind, _, _ in elements], must_have)
    for kind, element, above in elements:
        if kind == "/Figure" and not str(element.get("/Alt", element.get("/ActualText", ""))):
            yield "a figure without text in its place"
        if kind in ("/TD", "/TH") and "/TR" not in above:
            yield "a table cell outside a row"
        if kind == "/LI" and "/L" not in above:
            yield "a list item outside a list"


def _headings(kinds: list[str], must_have: frozenset[str]) -> Iterator[str]:
    """Levels go down by one at a time; the kinds that a packet must have are there."""
    last = 0
    for level in (_HEADINGS[kind] for kind in kinds if kind in _HEADINGS):
        if level > last + 1:
            yield f"a heading of level {level} follows one of level {last}"
        last = level
    missing = must_have - set(kinds)
    if missing:
        yield f"structure without {sorted(missing)}"


def _pages(pdf: pikepdf.Pdf) -> Iterator[str]:
    for number, page in enumerate(pdf.pages, start=1):
        if "/StructParents" not in page.obj:
            yield f"page {number} is not tied to the structure"
        for group in (page.obj.get("/Group"),):
            if group is not None and group.get("/S") == Name.Transparency and "/CS" not in group:
                yield f"page {number} blends without a colour space"
        for annotation in page.obj.get("/Annots", []):
            if annotation.get("/Subtype") == Name.Link and "/StructParent" not in annotation:
                yield f"a link of page {number} is not tied to the structure"
        if _drawn_outside_tags(page):
            yield f"page {number} draws something that is neither tagged nor an artifact"


def _drawn_outside_tags(page: pikepdf.Page) -> bool:
    """Text shown outside every marked content: a reader for the blind would not know of it."""
    depth = 0
    for operands, operator in pikepdf.parse_content_stream(page):
        word = str(operator)
        if word in ("BDC", "BMC"):
            depth += 1
        elif word == "EMC":
            depth -= 1
        elif word in ("Tj", "TJ", "'", '"') and depth == 0:
            del operands
            return True
    return False
