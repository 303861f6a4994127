"""Checking a packet or bundle against itself, and against storage and record where they are there."""

import io
from collections.abc import Callable
from dataclasses import replace
from typing import BinaryIO

from rules.seal.bundle_check import look_into
from rules.seal.enclosed import RECIPIENT_NAME, Enclosed, NotAPacketError
from rules.seal.manifest_check import is_original
from rules.seal.report import Line, Verification, differs, judged, not_checked

# Says whether the bytes with this hash still lie in storage unchanged; None where that cannot be known.
StoredCheck = Callable[[str], bool | None]
# Why a file with this SHA-256 is not stored any more, in words; empty where nothing was deleted.
DeletedWords = Callable[[str], str]


def verify_pdf(
    pdf: bytes, *, stored: StoredCheck | None = None, expected_pdf_sha256: str | None = None
) -> Verification:
    """Checks one packet file; see ``verify_file``. A bundle, too, is no packet file here."""
    if not pdf.startswith(b"%PDF-"):
        raise NotAPacketError("the file does not begin as a PDF")
    return verify_file(io.BytesIO(pdf), stored=stored, expected_pdf_sha256=expected_pdf_sha256)


def verify_file(
    stream: BinaryIO,
    *,
    stored: StoredCheck | None = None,
    expected_pdf_sha256: str | None = None,
    key: str | None = None,
    deleted: DeletedWords | None = None,
) -> Verification:
    """Checks one packet file or bundle.

    Args:
        stream: the file.
        stored: asked for each evidence file of the packet; None where there is no storage to ask.
        expected_pdf_sha256: what the record says the sealed file hashes to; None where no record is at hand.
        key: fingerprint that the signing key should have; None where none is known.
        deleted: asked for each evidence file that is not stored; None where there is no record to ask.

    Raises:
        NotAPacketError: the file cannot be read as a packet.
    """
    found, enclosed = look_into(stream, key=key)
    if enclosed is None:
        return found
    lines = (
        _pdf_line(enclosed, found.pdf_sha256, expected_pdf_sha256),
        *found.lines,
        _stored_line(enclosed, stored, deleted),
    )
    return replace(found, lines=lines)


def _pdf_line(enclosed: Enclosed, sha256: str, expected: str | None) -> Line:
    what = "file"
    if enclosed.recipient is not None:
        sealed = enclosed.recipient.get("sealed_pdf_sha256")
        if expected is not None and sealed != expected:
            return differs(what, "A copy of another file.", RECIPIENT_NAME)
        return not_checked(
            what,
            f"A copy stamped for {enclosed.recipient.get('recipient')}; its pages come from the sealed "
            f"file {sealed}. Its attachments are checked below.",
        )
    if expected is None:
        return not_checked(what, "No record at hand says what this file hashes to.")
    same = sha256 == expected
    return judged(
        what, [] if same else ["the PDF itself"], "The file is the sealed one.", "Not the sealed file."
    )


def _stored_line(enclosed: Enclosed, stored: StoredCheck | None, deleted: DeletedWords | None) -> Line:
    if stored is None:
        return not_checked("storage", "No storage at hand.")
    originals = {name: str(value.get("sha256")) for name, value in enclosed.listed() if is_original(name)}
    lost = [name for name, sha256 in originals.items() if stored(sha256) is False]
    gone = {name: words for name in lost if deleted is not None and (words := deleted(originals[name]))}
    faults = [f"{name} (stored file)" for name in lost if name not in gone]
    if gone and not faults:
        told = "; ".join(f"{name} is {words}" for name, words in gone.items())
        return not_checked("storage", f"{len(originals) - len(gone)} stored originals are unchanged; {told}.")
    return judged(
        "storage",
        faults,
        f"{len(originals)} stored originals are unchanged.",
        "A stored original was changed.",
    )
