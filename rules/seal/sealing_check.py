"""The seal checked: log entry against packet, proof against head, signatures, keys, the earlier head."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any, Final

from rules.canonical import sha256_hex
from rules.seal.bag import Digest
from rules.seal.certificates import is_signed_by, read_certificate
from rules.seal.der import DerError
from rules.seal.enclosed import MANIFEST_NAME, REDACTION_NAME, SEALING_NAME, Enclosed, PartError, read_object
from rules.seal.log_proofs import entry_leaf, shows_consistency, shows_inclusion
from rules.seal.public_keys import KeyRefused
from rules.seal.report import Line, differs, judged, not_checked
from rules.seal.sealing import Sealing, SignedHead
from rules.seal.tree_head import head_fault

SEALED: Final = "packet.sealed"
HEAD_FAULTS: Final = {
    "bad_certificate": "its certificate cannot be read",
    "bad_key": "its key is not one of RSA with 2048 bits or more",
    "bad_signature": "the signature was not made by that key over this head",
    "outside_validity": "its certificate was not valid when the head was made",
}
DEMO: Final = (
    "THE KEY IS FOR DEMONSTRATION: it is made by the program itself, and anybody could have made one like "
    "it. This file proves nothing to a stranger."
)


def entry_line(sealing: Sealing, enclosed: Enclosed, body: bytes | None) -> Line:
    """The log entry speaks of this very packet.

    Args:
        body: the PDF as far as the entry says it goes; None where the pages are those of a stamped copy, or
            there is no PDF.
    """
    detail = sealing.detail
    faults = [
        f"log entry {sealing.n}: {name}"
        for name, wanted in _wanted(enclosed).items()
        if detail.get(name) != wanted
    ]
    if sealing.content.get("what") != SEALED:
        faults.append(f"log entry {sealing.n}: it is of another act")
    if sealing.content.get("organisation") != sealing.sealed.head.organisation:
        faults.append(f"log entry {sealing.n}: it is of another organisation's log")
    if body is not None and (len(body), sha256_hex(body)) != (
        detail.get("body_bytes"),
        detail.get("body_sha256"),
    ):
        faults.append("packet.pdf: pages and attachments")
    seen = "root, manifest and pages" if body is not None else "root and manifest"
    left = "" if body is not None else " The pages of a stamped copy are not those that were sealed."
    return judged(
        "entry",
        faults,
        f"Log entry {sealing.n} names this packet by {seen}.{left}",
        "The log entry is of another packet, or this packet is not what was sealed.",
    )


def _wanted(enclosed: Enclosed) -> dict[str, Any]:
    """What the entry must say; a name with None must be absent."""
    redaction = enclosed.files.get(REDACTION_NAME)
    return {
        "packet": own_serial(enclosed),
        "root": enclosed.root,
        "manifest_sha256": sha256_hex(enclosed.files[MANIFEST_NAME]),
        "redaction_sha256": None if redaction is None else sha256_hex(redaction),
    }


def own_serial(enclosed: Enclosed) -> str:
    """Serial of this very packet; a redacted one keeps the tree, and so the serial entry, of its origin."""
    data = enclosed.files.get(REDACTION_NAME)
    if data is None:
        return enclosed.serial
    try:
        return str(read_object(data, REDACTION_NAME).get("serial", ""))
    except PartError:
        return ""


def proof_line(sealing: Sealing) -> Line:
    """The entry is in the log whose head is given, at its own place."""
    head = sealing.sealed.head
    holds = shows_inclusion(
        entry_leaf(dict(sealing.content)), sealing.n - 1, head.size, sealing.log_proof, head.root_bytes
    )
    return judged(
        "log proof",
        [] if holds else [f"{SEALING_NAME}: log_proof"],
        f"The proof shows entry {sealing.n} in the log of {head.size} entries of {head.at}.",
        "The proof does not show that the entry is in that log.",
    )


def head_line(sealing: Sealing) -> Line:
    """The head is signed by the key of the certificate that comes with it."""
    what = "head"
    if not sealing.sealed.is_signed:
        return not_checked(
            what,
            "NOT SIGNED: no key was set up when this packet was sealed. The hashes fit one another, but "
            "whoever made this file could have made them all.",
        )
    fault = signed_head_fault(sealing.sealed)
    if fault:
        return differs(what, f"The head of the log is not well signed: {fault}.", f"{SEALING_NAME}: head")
    certificate = read_certificate(sealing.sealed.certificate_der)
    return Line(
        what=what,
        result="agrees",
        text=f"The head is signed by the key of the certificate for {certificate.subject}.",
    )


def signed_head_fault(signed: SignedHead) -> str:
    """What is wrong with a signed head, in words; empty where nothing is."""
    fault = head_fault(signed.head, signed.signature, signed.certificate_der)
    return HEAD_FAULTS.get(fault, fault)


def chain_line(sealing: Sealing) -> Line:
    """Each certificate is signed by the next one given; whether to believe the last is not ours to say."""
    what = "certificate"
    if not sealing.sealed.is_signed:
        return not_checked(what, "There is no certificate.")
    try:
        row = [read_certificate(der) for der in (sealing.sealed.certificate_der, *sealing.chain)]
        broken = [
            f"{SEALING_NAME}: certificate of {lower.subject}"
            for lower, upper in pairwise(row)
            if not is_signed_by(lower, upper)
        ]
    except (DerError, KeyRefused) as error:
        return differs(what, f"A certificate cannot be read: {error}.", f"{SEALING_NAME}: chain")
    last = row[-1]
    worth = (
        "It is signed by itself: it says a name, and nobody vouches for it"
        if last.is_self_issued
        else f"Its issuer {last.issuer} is not enclosed"
    )
    if broken:
        return judged(what, broken, "", "A certificate is not signed by the one that should have issued it.")
    return not_checked(
        what, f"The certificate says {row[0].subject}. {worth}; compare the key's fingerprint instead."
    )


def key_line(key_sha256: str, wanted: str | None, *, is_demo: bool) -> Line:
    """The key's fingerprint against the one the reader got elsewhere; a demonstration key never agrees."""
    what = "key"
    if wanted is not None and key_sha256 != wanted:
        told = f"The seal is by key {key_sha256}" if key_sha256 else "There is no signature"
        return differs(what, f"{told}, not by the key you named ({wanted}).", f"{SEALING_NAME}: key")
    if is_demo:
        return not_checked(what, f"{DEMO} Its fingerprint: {key_sha256}")
    if not key_sha256:
        return not_checked(what, "There is no key to compare.")
    if wanted is not None:
        return Line(what=what, result="agrees", text=f"The key is the one you named: {key_sha256}")
    return not_checked(
        what,
        f"The key has the fingerprint {key_sha256}. It is worth as much as your way of knowing whose it is: "
        "compare it with the one that the workshop publishes, or that you got in another way than this file.",
    )


def earlier_line(sealing: Sealing) -> Line:
    """The log is a continuation of the one whose head was handed outside before."""
    what, earlier = "earlier head", sealing.earlier
    if earlier is None:
        return not_checked(what, "No head of the log had been handed outside before this packet was sealed.")
    head, later = earlier.head, sealing.sealed.head
    faults = []
    if head.organisation != later.organisation or not shows_consistency(
        head.size, later.size, head.root_bytes, later.root_bytes, sealing.consistency
    ):
        faults.append(f"{SEALING_NAME}: earlier head")
    if earlier.is_signed and (fault := signed_head_fault(earlier)):
        faults.append(f"{SEALING_NAME}: signature of the earlier head ({fault})")
    other = earlier.key_sha256 != sealing.sealed.key_sha256
    told = f"The log continues the one of {head.size} entries that was handed outside on {head.at[:10]}."
    if not earlier.is_signed:
        told += " That head carries no signature."
    elif other:
        told += " That head was signed by another key than this seal."
    return judged("earlier head", faults, told, "The log does not continue the one handed outside before.")


def kept_line(sealing: Sealing, later: SignedHead | None, kept: tuple[int, str] | None) -> Line:
    """The log against a head that the reader kept since it was handed outside.

    Only this shows that whoever holds the key has not written the whole log anew.

    Args:
        later: the head of the log extract, None where there is none.
        kept: number of entries and root (64 lower-case hex digits); None where the reader has none.
    """
    what = "kept head"
    if kept is None:
        return not_checked(
            what,
            "You gave no head of the log that you kept. Whoever holds the signing key could have written a "
            "whole log anew; only a head kept from before tells it apart.",
        )
    size, root = kept
    heads = [one.head for one in (sealing.earlier, sealing.sealed, later) if one is not None]
    same = [head for head in heads if head.size == size]
    if not same:
        sizes = ", ".join(str(head.size) for head in heads)
        return not_checked(
            what,
            f"Your head is of {size} entries; the heads enclosed are of {sizes}. Ask the feed of heads "
            "for the proof between two of these sizes.",
        )
    return judged(
        what,
        [f"{SEALING_NAME}: head of {size} entries" for head in same if head.root != root],
        f"The head of {size} entries is the one that you kept.",
        "The log is not the one whose head you kept: it was written anew.",
    )


def body_of(sealing: Sealing, pdf: bytes) -> bytes:
    """The beginning of the PDF that the entry speaks of; empty where it names none that could be."""
    size = sealing.detail.get("body_bytes")
    return pdf[:size] if type(size) is int and 0 < size <= len(pdf) else b""


def sealed_pdf_sha256(enclosed: Enclosed, pdf: Digest | None) -> str:
    """Hash of the sealed file: of the PDF at hand, or what a stamped copy says it was made from."""
    if enclosed.recipient is not None:
        return str(enclosed.recipient.get("sealed_pdf_sha256", ""))
    return pdf.sha256 if pdf is not None else ""


def told_pdf_sha256(content: Mapping[str, Any]) -> str:
    """The hash of the finished file that a log entry ``packet.signed`` tells."""
    detail = content.get("detail")
    return str(detail.get("pdf_sha256", "")) if isinstance(detail, Mapping) else ""
