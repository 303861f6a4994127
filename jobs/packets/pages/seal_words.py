"""What the pages say of the file's signature: by which key, or in plain words that there is none."""

from typing import Final

from jobs.packets.manifest import grouped
from jobs.packets.source import SignerCard

UNSIGNED: Final = "THIS PACKET IS NOT SIGNED: its maker had no signing key."
DEMONSTRATION: Final = "SIGNED WITH A DEMONSTRATION KEY, not for evidence:"
PROOF: Final = (
    "The sealing itself is a later entry of the same log. Where its proof is: sealing.json, attached to this "
    "file at sealing, holds that entry, its place in the log as a tree (RFC 6962), and the head of the tree"
)


OWN_CLOCK: Final = (
    " The day and time of sealing are by the operator's own clock. A time stamp of an outside authority, "
    "where one was given, is in the signature or came later as an addition; the check tells."
)


def seal_line(signer: SignerCard | None) -> str:
    """One sentence for page 1."""
    if signer is None:
        return UNSIGNED
    words = DEMONSTRATION if signer.is_demo else "Signed with the key"
    return f"{words} {grouped(signer.key_sha256[:16])} …"


def seal_text(signer: SignerCard | None) -> str:
    """The paragraph beside the log extract."""
    if signer is None:
        return (
            f"{PROOF}. Neither that head nor this file is signed: its maker had no signing key when it was "
            f"sealed. Who could write the log could have made all of it.{OWN_CLOCK}"
        )
    demo = " It is a demonstration key: what it signs is no evidence of anything." if signer.is_demo else ""
    return (
        f"{PROOF} with the operator's signature, so that nobody can quietly put another packet in its place. "
        f"The file is signed with the same key, of {signer.name}, SHA-256 of the key "
        f"{grouped(signer.key_sha256)}. Compare it with the one that the operator gives elsewhere.{demo}"
        f"{OWN_CLOCK}"
    )
