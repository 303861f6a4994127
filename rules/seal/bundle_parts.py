"""The files of a bundle: found in its archive, checked as a bag, sorted into what they are."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import BinaryIO, Final

from rules.seal.bag import (
    DECLARATION_NAME,
    INFO_NAME,
    MANIFEST_NAME,
    PAYLOAD,
    TAG_MANIFEST_NAME,
    Digest,
    decoded_path,
    manifest_text,
)
from rules.seal.bag_reading import check_bag
from rules.seal.report import Line, differs, judged
from rules.seal.zip_reading import (
    DIRECTORY,
    LOCAL_HEADER,
    Fault,
    Found,
    content,
    content_faults,
    measure,
    scan,
)

PDF_NAME: Final = "data/packet.pdf"
ADDITIONS: Final = "data/additions/"
CHECKERS: Final = ("check.pyz", "check.html", "how-to-check.txt")
TAGS: Final = frozenset({DECLARATION_NAME, INFO_NAME, MANIFEST_NAME, TAG_MANIFEST_NAME, *CHECKERS})
# Tag files larger than this are not parsed (project limit).
MOST_TAG_BYTES: Final = 20_000_000


@dataclass(slots=True)
class BundleFiles:
    """The files under the bundle's one folder, by path; the checker of bags reads them through this."""

    stream: BinaryIO
    found: Mapping[str, Found]
    digests: Mapping[str, Digest]
    folder: str = ""

    def sizes(self) -> dict[str, int]:
        return {path: digest.size for path, digest in self.digests.items()}

    def read(self, path: str) -> bytes:
        return content(self.stream, self.found[path])

    def digest(self, path: str, algorithm: str) -> str:
        """Raises ``KeyError`` for a file that is not there."""
        return self.digests[path].sha256 if algorithm == "sha256" else ""

    def payload(self) -> dict[str, Digest]:
        """Everything under ``data/``."""
        return {path: digest for path, digest in self.digests.items() if path.startswith(PAYLOAD)}


def open_bundle(stream: BinaryIO) -> tuple[BundleFiles | None, Line]:
    """Reads the archive once from end to end.

    Returns:
        The files, or None where they cannot be found; and the line on the archive.
    """
    scanned = scan(stream)
    faults = list(scanned.faults)
    digests: dict[str, Digest] = {}
    for entry in scanned.entries:
        measured = measure(stream, entry)
        digests[entry.name] = Digest(measured.sha256, measured.size)
        faults += content_faults(entry, measured)
    if not scanned.entries:
        return None, _line(faults, 0)
    found = {entry.name: entry for entry in scanned.entries}
    files, faults = _under_one_folder(stream, found, digests, faults)
    return files, _line(faults, len(found))


def _line(faults: list[Fault], count: int) -> Line:
    told = "; ".join(fault.text for fault in faults[:5])
    return judged(
        "archive",
        [fault.where for fault in faults],
        f"Every byte around and in its {count} files is where and as it must be.",
        f"The archive is not as it was written: {told}.",
    )


def _under_one_folder(
    stream: BinaryIO, found: dict[str, Found], digests: dict[str, Digest], faults: list[Fault]
) -> tuple[BundleFiles | None, list[Fault]]:
    """Takes the common folder off the names; of two names for one entry the one the lists know is right."""
    folders = [name.partition("/")[0] for name in (*found, *(entry.local_name for entry in found.values()))]
    folder = max(sorted(set(folders)), key=folders.count)
    renamed, known = dict(found), _known_names(stream, found, folder)
    for name, entry in found.items():
        if entry.local_name == name or _relative(entry.local_name, folder) not in known:
            continue
        if _relative(name, folder) in known:
            continue
        del renamed[name]
        renamed[entry.local_name] = replace(entry, name=entry.local_name)
        digests[entry.local_name] = digests.pop(name)
        faults = [
            replace(fault, place=DIRECTORY, entry=entry.local_name)
            if fault.place == LOCAL_HEADER and fault.entry == name
            else fault
            for fault in faults
        ]
    outside = [name for name in renamed if not name.startswith(f"{folder}/")]
    if outside:
        faults = [
            *faults,
            *(Fault(place="name", entry=name, text="not in the one folder") for name in outside),
        ]
        return None, faults
    cut = len(folder) + 1
    return (
        BundleFiles(
            stream,
            {name[cut:]: entry for name, entry in renamed.items()},
            {name[cut:]: digest for name, digest in digests.items()},
            folder,
        ),
        faults,
    )


def _relative(name: str, folder: str) -> str:
    return name.removeprefix(f"{folder}/") if name.startswith(f"{folder}/") else ""


def _known_names(stream: BinaryIO, found: Mapping[str, Found], folder: str) -> set[str]:
    """Every path that the bag's own lists name, with the lists themselves."""
    known = {TAG_MANIFEST_NAME}
    for entry in found.values():
        for name in (entry.name, entry.local_name):
            if _relative(name, folder) in (MANIFEST_NAME, TAG_MANIFEST_NAME) and entry.size <= MOST_TAG_BYTES:
                text = content(stream, entry).decode("utf-8", "replace")
                known |= {decoded_path(line[66:]) for line in text.split("\n") if len(line) > 66}
    return known


# ------------------------------------------------------------------ the bag


def bag_line(files: BundleFiles) -> Line:
    """The bag is one of BagIt 1.0, in the narrower form of bundles: SHA-256 alone, no other file."""
    odd = [f"{path} (no file of a bundle)" for path in files.digests if not _belongs(path)]
    missing = [f"{path} (missing)" for path in sorted(TAGS) if path not in files.digests]
    large = [
        path
        for path in TAGS - set(CHECKERS)
        if path in files.found and files.found[path].size > MOST_TAG_BYTES
    ]
    if odd or missing or large:
        return differs("bag", "The bundle does not have the files that a bundle has.", *odd, *missing, *large)
    report = check_bag(files)
    faults = report.faults + report.warnings
    if not faults and files.read(MANIFEST_NAME) != manifest_text(files.payload()):
        faults.append(f"{MANIFEST_NAME} is not written as a bundle's is")
    tags = {path: files.digests[path] for path in TAGS - {TAG_MANIFEST_NAME}}
    if not faults and files.read(TAG_MANIFEST_NAME) != manifest_text(tags):
        faults.append(f"{TAG_MANIFEST_NAME} is not written as a bundle's is")
    return judged(
        "bag",
        faults,
        f"{len(files.payload())} files have the hashes that the bag (BagIt 1.0) lists.",
        "The bag is not as it was packed.",
    )


def _belongs(path: str) -> bool:
    return path in TAGS or path.startswith(PAYLOAD)
