"""The PDF's own signature as a line: over the whole file, and by the key of the seal in the log."""

from typing import Final

from rules.seal.pdf_seal import SealFound, read_seal
from rules.seal.report import Line, differs, not_checked

WHAT: Final = "pdf signature"
PLACE: Final = "packet.pdf: signature"


def signature_line(pdf: bytes, key_sha256: str, *, is_copy: bool = False) -> Line:
    """The signature holds over the whole file and is by the key of the seal.

    Args:
        key_sha256: of the key that signed the head; empty where none did.
        is_copy: a recipient's copy; it is signed when it is made, by the key in use then.
    """
    found = read_seal(pdf)
    if found.fault:
        return differs(WHAT, f"The PDF is not as it was signed: {found.fault}.", PLACE)
    if not found.is_signed:
        if key_sha256:
            return differs(WHAT, "The PDF carries no signature, though its seal was made with a key.", PLACE)
        return not_checked(WHAT, "NOT SIGNED: the PDF carries no signature.")
    if is_copy and found.key_sha256 != key_sha256:
        return not_checked(
            WHAT,
            f"The copy's signature holds, by another key ({found.key_sha256}) than the seal's. Ask the "
            "workshop whether it is theirs: the pages of a copy rest on it alone.",
        )
    if found.key_sha256 != key_sha256:
        told = "the head of the log is not signed" if not key_sha256 else f"the seal is by {key_sha256}"
        return differs(WHAT, f"The PDF is signed by another key ({found.key_sha256}); {told}.", PLACE)
    return Line(what=WHAT, result="agrees", text=_good(found))


def _good(found: SealFound) -> str:
    at = "" if found.claimed_at is None else f" It says it was made {found.claimed_at:%Y-%m-%d %H:%M} UTC."
    stamp = " It carries no time stamp: that time is by the signer's own clock."
    if found.time_stamp:
        stamp = " Its time stamp was not looked into."
    return f"Every byte of the PDF is under the signature of the same key.{at}{stamp}"
