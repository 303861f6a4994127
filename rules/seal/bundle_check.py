"""A whole bundle, or a packet file alone, checked without a network: one line for each thing looked at."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO, Final

from rules.canonical import sha256_hex
from rules.seal.additions_check import additions_line
from rules.seal.bag import PAYLOAD, Digest
from rules.seal.bundle_parts import ADDITIONS, PDF_NAME, BundleFiles, bag_line, open_bundle
from rules.seal.deleted import deletions
from rules.seal.enclosed import (
    MOST_PART_BYTES,
    REDACTION_NAME,
    SEALING_NAME,
    Enclosed,
    NotAPacketError,
    PartError,
    enclosed_of,
)
from rules.seal.log_extract import NAME as EXTRACT_NAME
from rules.seal.log_extract import Extract, extract_line, origin_line, read_extract, unreadable
from rules.seal.manifest_check import (
    content_line,
    files_line,
    is_original,
    log_line,
    originals_line,
    tree_line,
)
from rules.seal.pdf_check import signature_line
from rules.seal.pdf_parts import attachments_of
from rules.seal.redaction_check import redaction_line
from rules.seal.replay_check import replay_line
from rules.seal.report import Line, Verification, differs, judged, not_checked
from rules.seal.sealing import Sealing, read_sealing
from rules.seal.sealing_check import (
    body_of,
    chain_line,
    earlier_line,
    entry_line,
    head_line,
    kept_line,
    key_line,
    own_serial,
    proof_line,
    sealed_pdf_sha256,
)

MOST_PDF_BYTES: Final = 1_000_000_000
UNREAD: Final = "Not looked at, since the file could not be taken apart."
# A head that the reader kept: number of entries and root in hex.
Kept = tuple[int, str] | None
_PDF_MARK: Final = b"%PDF-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the reader has from elsewhere.

    Attributes:
        key: SHA-256 of the signing key (64 lower-case hex digits).
        later_key: the same of the key that the workshop signs with since, where it changed it.
        head: a head of the log that was kept: number of entries and root (64 lower-case hex digits).
    """

    key: str | None = None
    later_key: str | None = None
    head: Kept = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """What there is to check: the parts, the PDF (None where there is none), what the reader knows."""

    enclosed: Enclosed
    pdf: bytes | None
    known: Known
    sealing: Sealing | None
    sealing_fault: str


def check_file(
    stream: BinaryIO, *, key: str | None = None, head: Kept = None, later_key: str | None = None
) -> Verification:
    """Checks a bundle or a packet file, whichever the bytes are.

    Args:
        stream: can seek; nothing is believed of it.
        key, head, later_key: what the reader has from elsewhere, see ``Known``.

    Raises:
        NotAPacketError: a PDF that cannot be read as a packet.
    """
    return look_into(stream, key=key, head=head, later_key=later_key)[0]


def look_into(
    stream: BinaryIO, *, key: str | None = None, head: Kept = None, later_key: str | None = None
) -> tuple[Verification, Enclosed | None]:
    """The same, and the parts of the packet for who has more to compare; None where they are out of reach."""
    stream.seek(0)
    if stream.read(len(_PDF_MARK)) != _PDF_MARK:
        return _look_into_bundle(stream, Known(key=key, later_key=later_key, head=head))
    if stream.seek(0, 2) > MOST_PDF_BYTES:
        raise NotAPacketError("the file is too large for a packet")
    stream.seek(0)
    return look_into_packet(stream.read(), key=key, head=head)


def look_into_packet(
    pdf: bytes, *, key: str | None = None, head: Kept = None
) -> tuple[Verification, Enclosed]:
    """A packet file alone, and its parts. Raises ``NotAPacketError``."""
    case = _case(enclosed_of(attachments_of(pdf)), pdf, Known(key=key, head=head))
    return _verification("packet", case, [*_packet_lines(case, {}), *_kept(case, None)]), case.enclosed


def check_packet(pdf: bytes, *, key: str | None = None, head: Kept = None) -> Verification:
    """Checks a packet file alone. Raises ``NotAPacketError``."""
    return look_into_packet(pdf, key=key, head=head)[0]


def check_bundle(
    stream: BinaryIO, *, key: str | None = None, head: Kept = None, later_key: str | None = None
) -> Verification:
    """Checks a bundle. What cannot be taken apart is told in the lines, not raised."""
    return _look_into_bundle(stream, Known(key=key, later_key=later_key, head=head))[0]


def _look_into_bundle(stream: BinaryIO, known: Known) -> tuple[Verification, Enclosed | None]:
    files, archive = open_bundle(stream)
    if files is None:
        return _broken([archive]), None
    lines = [archive, bag_line(files)]
    try:
        case = _case(_enclosed(files), _pdf(files), known)
    except NotAPacketError as error:
        none = differs("packet", f"There is no packet in the bundle: {error}.", "data/")
        return _broken([*lines, none]), None
    lines.append(_same_line(case))
    later, deleted = _later_lines(files, case)
    lines += _packet_lines(case, deleted)
    lines += later
    return _verification("bundle", case, lines), case.enclosed


# ------------------------------------------------------------------ what there is


def _enclosed(files: BundleFiles) -> Enclosed:
    """The payload as parts of a packet; of the PDF's own attachments only the recipient is taken."""
    parts: dict[str, bytes] = {}
    digests: dict[str, Digest] = {}
    for path, digest in files.payload().items():
        name = path.removeprefix(PAYLOAD)
        if path == PDF_NAME or path.startswith(ADDITIONS) or name == EXTRACT_NAME:
            continue
        digests[name] = digest
        if not is_original(name):
            if digest.size > MOST_PART_BYTES:
                raise NotAPacketError(f"{name} is too large")
            parts[name] = files.read(path)
    return enclosed_of(parts, digests, has_originals=True)


def _pdf(files: BundleFiles) -> bytes | None:
    digest = files.digests.get(PDF_NAME)
    if digest is None or digest.size > MOST_PDF_BYTES:
        return None
    return files.read(PDF_NAME)


def _case(enclosed: Enclosed, pdf: bytes | None, known: Known) -> _Case:
    sealing, fault = None, ""
    try:
        if SEALING_NAME in enclosed.files:
            sealing = read_sealing(enclosed.files[SEALING_NAME])
    except PartError as error:
        fault = str(error)
    return _Case(enclosed=enclosed, pdf=pdf, known=known, sealing=sealing, sealing_fault=fault)


def _same_line(case: _Case) -> Line:
    """The parts beside the PDF are those attached to it."""
    what = "pdf parts"
    if case.pdf is None:
        return differs(what, "There is no packet.pdf in the bundle, or it is too large.", PDF_NAME)
    try:
        attached = attachments_of(case.pdf)
    except NotAPacketError as error:
        return differs(what, f"{PDF_NAME}: {error}.", PDF_NAME)
    digests, parts = case.enclosed.digests, case.enclosed.files
    faults = [
        f"{PDF_NAME}: {name}"
        for name, data in attached.items()
        if name not in digests or digests[name].sha256 != sha256_hex(data)
    ]
    faults += [f"{PAYLOAD}{name} (not attached to the PDF)" for name in parts if name not in attached]
    return judged(
        what, faults, f"The {len(attached)} attachments of the PDF are the files beside it.",
        "The PDF carries other parts than the bundle.",
    )  # fmt: skip


# ------------------------------------------------------------------ lines


def _packet_lines(case: _Case, deleted: Mapping[str, str]) -> list[Line]:
    enclosed = case.enclosed
    return [
        tree_line(enclosed),
        files_line(enclosed, deleted),
        originals_line(enclosed, deleted),
        content_line(enclosed),
        log_line(enclosed),
        redaction_line(enclosed, deleted),
        *_seal_lines(case),
        replay_line(enclosed),
    ]


def _seal_lines(case: _Case) -> list[Line]:
    sealing = case.sealing
    if sealing is None:
        return [_no_seal(case), key_line("", case.known.key, is_demo=False)]
    body = None
    if case.pdf is not None and case.enclosed.recipient is None:
        body = body_of(sealing, case.pdf)
    key = sealing.sealed.key_sha256
    lines = [
        entry_line(sealing, case.enclosed, body),
        proof_line(sealing),
        head_line(sealing),
        earlier_line(sealing),
        chain_line(sealing),
        key_line(key, case.known.key, is_demo=sealing.is_demo),
    ]
    if case.pdf is not None:
        lines.append(signature_line(case.pdf, key, is_copy=case.enclosed.recipient is not None))
    return lines


def _no_seal(case: _Case) -> Line:
    if case.sealing_fault:
        return differs("seal", f"The seal cannot be read: {case.sealing_fault}.", SEALING_NAME)
    if case.enclosed.form > 1:
        return differs("seal", "The seal is missing. Every packet of this form has one.", SEALING_NAME)
    return not_checked("seal", "NOT SEALED in the log: packets of this older form carry no proof of it.")


def _later_lines(files: BundleFiles, case: _Case) -> tuple[list[Line], dict[str, str]]:
    """The log extract and the additions, which only a bundle has; and the deletions that they prove."""
    added = {
        path.removeprefix(ADDITIONS): files.read(path)
        for path, digest in files.digests.items()
        if path.startswith(ADDITIONS) and digest.size <= MOST_PART_BYTES
    }
    pdf = None if case.pdf is None else Digest(sha256_hex(case.pdf), len(case.pdf))
    sealed = sealed_pdf_sha256(case.enclosed, pdf)
    extract, line = _extract(files, case, sealed)
    additions = additions_line(
        added,
        serial=own_serial(case.enclosed),
        sealed=(case.enclosed.root, sealed),
        extract=extract,
        is_proven=line.result != "not_checked",
    )
    origin = [origin_line(extract, case.enclosed)] if REDACTION_NAME in case.enclosed.files else []
    is_whole = line.result == additions.result == "agrees"
    deleted = deletions(added, extract) if extract is not None and is_whole else {}
    return [line, *origin, additions, *_kept(case, extract)], deleted


def _kept(case: _Case, extract: Extract | None) -> list[Line]:
    if case.sealing is None:
        return []
    return [kept_line(case.sealing, None if extract is None else extract.later, case.known.head)]


def _extract(files: BundleFiles, case: _Case, sealed: str) -> tuple[Extract | None, Line]:
    path = f"{PAYLOAD}{EXTRACT_NAME}"
    if case.sealing is None:
        return None, not_checked("log extract", "There is no seal to compare a log extract with.")
    if path not in files.digests:
        # Without it nobody would miss an addition that was taken out with it.
        return None, differs("log extract", "The log extract is missing. Every bundle has one.", path)
    try:
        extract = read_extract(files.read(path))
    except PartError as error:
        return None, unreadable(error)
    line = extract_line(extract, case.sealing, pdf_sha256=sealed, later_key=case.known.later_key)
    return extract, line


# ------------------------------------------------------------------ outcome


def _verification(form: str, case: _Case, lines: list[Line]) -> Verification:
    sealing = case.sealing
    return Verification(
        form=form,
        serial=own_serial(case.enclosed),
        root=case.enclosed.root,
        pdf_sha256="" if case.pdf is None else sha256_hex(case.pdf),
        lines=tuple(lines),
        key_sha256="" if sealing is None else sealing.sealed.key_sha256,
        is_demo=sealing is not None and sealing.is_demo,
    )


def _broken(lines: list[Line]) -> Verification:
    """For a bundle of which the packet cannot be reached."""
    if all(line.result != "differs" for line in lines):
        lines = [*lines, differs("packet", UNREAD)]
    return Verification(
        form="bundle", serial="", root="", pdf_sha256="", lines=(*lines, not_checked("rest", UNREAD))
    )
