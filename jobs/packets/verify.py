"""Checking a packet file against itself, and against storage and record where they are there."""

from collections.abc import Callable

from jobs.packets.enclosed import read_packet
from rules.canonical import sha256_hex
from rules.seal.enclosed import RECIPIENT_NAME, Enclosed
from rules.seal.manifest_check import content_line, files_line, is_original, log_line, tree_line
from rules.seal.redaction_check import redaction_line
from rules.seal.replay_check import replay_line
from rules.seal.report import Line, Verification, differs, judged, not_checked

# Says whether the bytes with this hash still lie in storage unchanged; None where that cannot be known.
StoredCheck = Callable[[str], bool | None]


def verify_pdf(
    pdf: bytes, *, stored: StoredCheck | None = None, expected_pdf_sha256: str | None = None
) -> Verification:
    """Checks one packet file.

    Args:
        pdf: the file.
        stored: asked for each evidence file of the packet; None where there is no storage to ask.
        expected_pdf_sha256: what the record says the sealed file hashes to; None where no record is at hand.

    Raises:
        NotAPacketError: the file cannot be read as a packet.
    """
    enclosed = read_packet(pdf)
    lines = [
        _pdf_line(enclosed, pdf, expected_pdf_sha256),
        tree_line(enclosed),
        files_line(enclosed),
        content_line(enclosed),
        redaction_line(enclosed),
        log_line(enclosed),
        _stored_line(enclosed, stored),
        replay_line(enclosed),
    ]
    return Verification(
        form="packet",
        serial=enclosed.serial,
        root=enclosed.root,
        pdf_sha256=sha256_hex(pdf),
        lines=tuple(lines),
    )


def _pdf_line(enclosed: Enclosed, pdf: bytes, expected: str | None) -> Line:
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
    same = sha256_hex(pdf) == expected
    return judged(
        what, [] if same else ["the PDF itself"], "The file is the sealed one.", "Not the sealed file."
    )


def _stored_line(enclosed: Enclosed, stored: StoredCheck | None) -> Line:
    if stored is None:
        return not_checked("storage", "No storage at hand.")
    originals = [(name, value) for name, value in enclosed.listed() if is_original(name)]
    faults = [
        f"{name} (stored file)" for name, value in originals if stored(str(value.get("sha256"))) is False
    ]
    return judged(
        "storage",
        faults,
        f"{len(originals)} stored originals are unchanged.",
        "A stored original was changed.",
    )
