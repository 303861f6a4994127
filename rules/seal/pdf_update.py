"""What the sealing update changes of a packet's body: proof and signature are added, nothing else moves.

A signature covers whatever its maker put into the file. The body's hash stands in the log; so that the pages
a reader sees are those of that body, the update after it may only add, and touch only what adding needs.
"""

from typing import Any, Final

from rules.seal.pdf_file import PdfFile, Revision
from rules.seal.pdf_objects import PdfFault, Ref, Stream

SEALING_NAME: Final = b"sealing.json"
# What the catalogue gets from the update (ISO 32000-1 table 28; Extensions: ETSI EN 319 142-1).
_OF_THE_SEAL: Final = frozenset({"AF", "Names", "AcroForm", "Perms", "Extensions"})
_FIELD_KEYS: Final = frozenset({"FT", "T", "Type", "Subtype", "F", "Rect", "P", "V"})
_TRAILER_KEYS: Final = frozenset({"Info", "Root", "Size", "ID", "Prev"})


def require_only_sealing(file: PdfFile, signature: Ref | None) -> None:
    """Refuses an update that does anything but attach sealing.json and set one invisible signature.

    Args:
        file: body and one update.
        signature: the signature's dictionary; None where the file is sealed without one.

    Raises:
        PdfFault: what else it does.
    """
    if len(file.revisions) != 2:
        raise PdfFault("a sealed packet has a body and one update")
    body, update = file.until(1), file.revisions[1]
    _require_same_trailer(body.revisions[0], update)
    root = file.trailer["Root"]
    before, after = body.dictionary(root), file.dictionary(root)
    _require_same_catalogue(before, after)
    spec, moved = _attachment(body, file, before, after)
    known = moved | {root.number, spec.number, _embedded(file, spec).number}
    if signature is not None:
        known |= _signature_objects(body, file, after, signature)
    elif "AcroForm" in after or "Perms" in after:
        raise PdfFault("the update brings fields without a signature")
    for number, place in update.places.items():
        if number and (place.at is None or number not in known):
            raise PdfFault(f"the update changes object {number}, which is no part of the seal")


def _require_same_catalogue(before: dict[str, Any], after: dict[str, Any]) -> None:
    if "AcroForm" in before or "Perms" in before:
        raise PdfFault("the body has fields or a signature of its own")
    for key in (before.keys() | after.keys()) - _OF_THE_SEAL:
        if before.get(key) != after.get(key):
            raise PdfFault(f"the update changes {key} of the catalogue")


def _require_same_trailer(body: Revision, update: Revision) -> None:
    told = update.trailer
    if not told.keys() <= _TRAILER_KEYS or told.get("Prev") != body.table_at:
        raise PdfFault("the update's trailer has another form")
    if told.get("Root") != body.trailer.get("Root") or told.get("Info") != body.trailer.get("Info"):
        raise PdfFault("the update puts another catalogue in place of the body's")
    if not isinstance(told.get("Root"), Ref):
        raise PdfFault("the file has no catalogue")


# ------------------------------------------------------------------ the attachment


def _attachment(
    body: PdfFile, file: PdfFile, before: dict[str, Any], after: dict[str, Any]
) -> tuple[Ref, set[int]]:
    """The file specification that the update adds, and the objects it changed to list it."""
    names_before, names_after = before.get("Names"), after.get("Names")
    if not isinstance(names_before, dict) or names_before != names_after:
        raise PdfFault("the update changes the names of the catalogue")
    tree = names_before.get("EmbeddedFiles")
    old, new = _leaf(body, tree), _leaf(file, tree)
    added = [place for place in range(0, len(new), 2) if new[place] == SEALING_NAME]
    if len(added) != 1 or new[: added[0]] + new[added[0] + 2 :] != old or SEALING_NAME in old[::2]:
        raise PdfFault("the update attaches something else than sealing.json")
    spec = new[added[0] + 1]
    listed_before, listed_after = body.array(before.get("AF")), file.array(after.get("AF"))
    if before.get("AF") != after.get("AF") or listed_after != [*listed_before, spec]:
        raise PdfFault("the update changes the list of attached files")
    moved = {one.number for one in (tree, before.get("AF")) if isinstance(one, Ref)}
    if not isinstance(spec, Ref) or body.has(spec.number):
        raise PdfFault("sealing.json is no object of the update")
    return spec, moved


def _leaf(file: PdfFile, tree: Any) -> list[Any]:
    """Names and file specifications of the one leaf that the name tree of our files is."""
    found = file.dictionary(tree)
    if found.keys() != {"Names"} or not isinstance(found["Names"], list):
        raise PdfFault("the attached files are listed in another form")
    return found["Names"]


def _embedded(file: PdfFile, spec: Ref) -> Ref:
    told = file.dictionary(spec)
    inner = told.get("EF")
    stream = inner.get("F") if isinstance(inner, dict) else None
    if (told.get("F"), told.get("UF")) != (SEALING_NAME, SEALING_NAME) or not isinstance(stream, Ref):
        raise PdfFault("sealing.json is attached under another name")
    if inner != {"F": stream, "UF": stream} or not isinstance(file.get(stream), Stream):
        raise PdfFault("sealing.json is attached in another form")
    return stream


# ------------------------------------------------------------------ the signature


def _signature_objects(body: PdfFile, file: PdfFile, root: dict[str, Any], signature: Ref) -> set[int]:
    """Numbers of form, field, signature and the page that carries the field."""
    form = root.get("AcroForm")
    fields = file.dictionary(form).get("Fields")
    if not isinstance(form, Ref) or file.dictionary(form) != {"Fields": fields, "SigFlags": 3}:
        raise PdfFault("the form has another form than that of a seal")
    (field,) = fields if isinstance(fields, list) and len(fields) == 1 else (None,)
    if not isinstance(field, Ref):
        raise PdfFault("the file has not exactly one field")
    page = _require_invisible(file, field, signature)
    moved = _require_same_page(body, file, page, field)
    if root.get("Perms") != {"DocMDP": signature}:
        raise PdfFault("the signature does not certify the file")
    fresh = {form.number, field.number, signature.number}
    if any(body.has(number) for number in fresh):
        raise PdfFault("the seal puts its objects in place of the body's")
    return fresh | moved


def _require_invisible(file: PdfFile, field: Ref, signature: Ref) -> Ref:
    told = file.dictionary(field)
    page = told.get("P")
    is_seal = (told.get("FT"), told.get("Subtype"), told.get("V")) == ("Sig", "Widget", signature)
    if not told.keys() <= _FIELD_KEYS or not is_seal or told.get("Rect") != [0, 0, 0, 0]:
        raise PdfFault("the field of the signature shows something")
    if not isinstance(page, Ref):
        raise PdfFault("the field of the signature lies on no page")
    return page


def _require_same_page(body: PdfFile, file: PdfFile, page: Ref, field: Ref) -> set[int]:
    """The page is as it was but for the field; gives the objects that may change for it."""
    before, after = body.dictionary(page), file.dictionary(page)
    notes = before.get("Annots", [])
    if before.get("Type") != "Page" or file.array(after.get("Annots", [])) != [*body.array(notes), field]:
        raise PdfFault("the page of the signature gets something else too")
    if isinstance(notes, Ref) and after.get("Annots") != notes:
        raise PdfFault("the update puts another list in place of a page's")
    for key in (before.keys() | after.keys()) - {"Annots"}:
        if before.get(key) != after.get(key):
            raise PdfFault(f"the update changes {key} of a page")
    return {page.number, notes.number} if isinstance(notes, Ref) else {page.number}
