"""Any bag checked strictly after RFC 8493 (BagIt 1.0), and after its draft 0.97 where a bag says so.

What the standard forbids is a fault, what it only advises against a warning. Nothing is fetched: a bag that
still needs files from elsewhere is incomplete.
"""

import codecs
import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

from rules.seal.bag import DECLARATION_NAME, INFO_NAME, PAYLOAD, decoded_path, path_fault

ALGORITHMS: Final = ("md5", "sha1", "sha224", "sha256", "sha384", "sha512")
FETCH_NAME: Final = "fetch.txt"
_DECLARED: Final = re.compile(
    r"BagIt-Version: (0\.97|1\.0)(?:\r\n|\r|\n)Tag-File-Character-Encoding: ([A-Za-z0-9._-]+)(?:\r\n|\r|\n)?"
)
_MANIFEST: Final = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_LINE: Final = re.compile(r"([0-9A-Fa-f]+)[ \t]+\*?(.+)", re.DOTALL)
_FETCH: Final = re.compile(r"(\S+)[ \t]+(\d+|-)[ \t]+(.+)", re.DOTALL)


class BagFiles(Protocol):
    """The files of a bag, by path from its base folder."""

    def sizes(self) -> Mapping[str, int]: ...

    def read(self, path: str) -> bytes: ...

    def digest(self, path: str, algorithm: str) -> str:
        """The hash in lower-case hex."""
        ...


@dataclass(slots=True)
class BagReport:
    """What was found; a bag is valid where there is no fault."""

    faults: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    @property
    def is_valid(self) -> bool:
        return not self.faults


@dataclass(slots=True)
class _Bag:
    files: BagFiles
    sizes: Mapping[str, int]
    version: str
    encoding: str
    report: BagReport

    def fault(self, text: str) -> None:
        self.report.faults.append(text)

    def bear(self, text: str) -> None:
        """A fault in 1.0, a warning before."""
        (self.report.faults if self.version == "1.0" else self.report.warnings).append(text)


def check_bag(files: BagFiles) -> BagReport:
    """Checks declaration, manifests, tag manifests, fetch.txt and bag-info.txt, and every hash."""
    report = BagReport()
    sizes = files.sizes()
    declared = _declaration(files, sizes, report)
    if declared is None:
        return report
    bag = _Bag(files, sizes, *declared, report)
    payload = [_listed(bag, name, algorithm, is_tag=False) for name, algorithm in _manifests(bag, "")]
    tags = [_listed(bag, name, algorithm, is_tag=True) for name, algorithm in _manifests(bag, "tag")]
    _payload_is_listed(bag, payload)
    for found in (*payload, *tags):
        _hashes_hold(bag, found)
    _fetch(bag, payload)
    _info(bag)
    return report


def _declaration(files: BagFiles, sizes: Mapping[str, int], report: BagReport) -> tuple[str, str] | None:
    if DECLARATION_NAME not in sizes:
        report.faults.append(f"there is no {DECLARATION_NAME}")
        return None
    try:
        text = files.read(DECLARATION_NAME).decode("utf-8")
        found = _DECLARED.fullmatch(text)
    except UnicodeDecodeError:
        found = None
    if found is None:
        report.faults.append(f"{DECLARATION_NAME} does not have exactly the two lines of a known version")
        return None
    try:
        encoding = codecs.lookup(found[2]).name
    except LookupError:
        report.faults.append(f"{found[2]} is no known encoding")
        return None
    return found[1], encoding


def _text(bag: _Bag, name: str) -> str | None:
    try:
        text = bag.files.read(name).decode(bag.encoding)
    except UnicodeError:
        bag.fault(f"{name} is not written in {bag.encoding}")
        return None
    if text.startswith("\ufeff"):
        bag.fault(f"{name} begins with a byte order mark")
    return text


def _lines(text: str) -> list[str]:
    return [line for line in re.split(r"\r\n|\r|\n", text) if line]


def _manifests(bag: _Bag, kind: str) -> Iterator[tuple[str, str]]:
    found = 0
    for name in sorted(bag.sizes):
        match = _MANIFEST.fullmatch(name)
        if match is None or (match[1] or "") != kind:
            continue
        found += 1
        if match[2] in ALGORITHMS:
            yield name, match[2]
        else:
            bag.fault(f"{name} uses a hash that is not known here")
    if not found and not kind:
        bag.fault("there is no payload manifest")


@dataclass(frozen=True, slots=True)
class _Listed:
    name: str
    algorithm: str
    hashes: dict[str, str]


def _listed(bag: _Bag, name: str, algorithm: str, *, is_tag: bool) -> _Listed:
    hashes: dict[str, str] = {}
    for line in _lines(_text(bag, name) or ""):
        found = _LINE.fullmatch(line)
        length = hashlib.new(algorithm, usedforsecurity=False).digest_size * 2
        if found is None or len(found[1]) != length:
            bag.fault(f"{name}: a line is not a hash and a path")
            continue
        path = _path(bag, name, found[2])
        if is_tag == path.startswith(PAYLOAD) or path.startswith("tagmanifest-"):
            bag.fault(f"{name}: {path} does not belong there")
        elif path in hashes and hashes[path] != found[1].lower():
            bag.fault(f"{name}: {path} stands twice, with different hashes")
        elif path in hashes:
            bag.bear(f"{name}: {path} stands twice")
        hashes.setdefault(path, found[1].lower())
    return _Listed(name, algorithm, hashes)


def _path(bag: _Bag, name: str, text: str) -> str:
    """A path as listed; ``./`` before it is borne in 0.97, and % is decoded there only where it must be."""
    path = decoded_path(text) if bag.version == "1.0" else re.sub("%0A", "\n", re.sub("%0D", "\r", text))
    if path.startswith("./"):
        bag.bear(f"{name}: {path} begins with ./")
        path = path.removeprefix("./")
    if fault := path_fault(path):
        bag.fault(f"{name}: {fault}")
    return path


def _payload_is_listed(bag: _Bag, manifests: list[_Listed]) -> None:
    kept = {path for path in bag.sizes if path.startswith(PAYLOAD)}
    everywhere: set[str] = set()
    for found in manifests:
        everywhere |= set(found.hashes)
    for path in sorted(kept - everywhere):
        bag.fault(f"{path} is in no manifest")
    for found in manifests:
        for path in sorted((kept & everywhere) - set(found.hashes)):
            bag.bear(f"{path} is not in {found.name}")


def _hashes_hold(bag: _Bag, found: _Listed) -> None:
    for path, wanted in found.hashes.items():
        if path not in bag.sizes:
            bag.fault(f"{path} is missing")
        elif bag.files.digest(path, found.algorithm) != wanted:
            bag.fault(f"{path} does not have the hash in {found.name}")


def _fetch(bag: _Bag, manifests: list[_Listed]) -> None:
    if FETCH_NAME not in bag.sizes:
        return
    for line in _lines(_text(bag, FETCH_NAME) or ""):
        found = _FETCH.fullmatch(line)
        if found is None:
            bag.fault(f"{FETCH_NAME}: a line is not an address, a length and a path")
            continue
        path = _path(bag, FETCH_NAME, found[3])
        if not all(path in manifest.hashes for manifest in manifests):
            bag.fault(f"{FETCH_NAME}: {path} is not in every manifest")


def _info(bag: _Bag) -> None:
    if INFO_NAME not in bag.sizes:
        return
    values: list[tuple[str, str]] = []
    for line in _lines(_text(bag, INFO_NAME) or ""):
        label, colon, value = line.partition(":")
        if line[0] in " \t" and values:
            values[-1] = (values[-1][0], f"{values[-1][1]} {line.strip()}")
        elif not colon or not label.strip():
            bag.fault(f"{INFO_NAME}: a line has no label")
        else:
            values.append((label.strip().lower(), value.strip()))
    told = [value for label, value in values if label == "payload-oxum"]
    payload = [size for path, size in bag.sizes.items() if path.startswith(PAYLOAD)]
    total = 0
    for size in payload:
        total += size
    if len(told) > 1:
        bag.fault("Payload-Oxum stands more than once")
    elif told and told[0] != f"{total}.{len(payload)}":
        bag.fault(f"Payload-Oxum says {told[0]}; the payload is {total}.{len(payload)}")
