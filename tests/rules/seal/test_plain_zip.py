"""The one archive form: written the same each time, read by others, and each changed byte is placed."""

import io
import random
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from rules.seal.plain_zip import Planned, ZipError, name_fault, of_bytes, zip_bytes, zip_pieces
from rules.seal.zip_reading import Fault, content, content_faults, measure, scan
from tests.rules.seal.zip_places import name_bytes, places

CONTENTS = {
    "bag/bagit.txt": b"BagIt-Version: 1.0\n",
    "bag/data/empty.bin": b"",
    # Content that looks like the marks of the form must not be mistaken for them.
    "bag/data/evidence-0001.jpg": b"PK\x03\x04PK\x01\x02PK\x05\x06" * 3,
    "bag/data/evidence-0002.jpg": bytes(range(256)),
}


def archive(contents: dict[str, bytes] = CONTENTS) -> bytes:
    return b"".join(zip_pieces(of_bytes(name, data) for name, data in contents.items()))


def faults_of(data: bytes) -> tuple[Fault, ...]:
    stream = io.BytesIO(data)
    found = scan(stream)
    told = list(found.faults)
    for entry in found.entries:
        told += content_faults(entry, measure(stream, entry))
    return tuple(told)


def test_what_we_write_the_standard_library_reads_and_finds_stored(tmp_path: Path) -> None:
    # Second opinion: zipfile of the standard library, and the program unzip where it is installed.
    data = archive()
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        assert read.testzip() is None
        assert {entry.filename: read.read(entry) for entry in read.infolist()} == CONTENTS
        assert {entry.compress_type for entry in read.infolist()} == {zipfile.ZIP_STORED}
        assert {entry.date_time for entry in read.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {entry.external_attr >> 16 for entry in read.infolist()} == {0o100644}
    if unzip := shutil.which("unzip"):
        file = tmp_path / "bundle.zip"
        file.write_bytes(data)
        assert subprocess.run([unzip, "-tq", str(file)], check=False, capture_output=True).returncode == 0


def test_the_same_contents_in_any_order_give_the_same_bytes_of_the_size_told_before() -> None:
    turned = dict(reversed(CONTENTS.items()))
    assert archive(turned) == archive()
    assert zip_bytes([of_bytes(name, data) for name, data in CONTENTS.items()]) == len(archive())


def test_our_reader_finds_what_our_writer_wrote() -> None:
    stream = io.BytesIO(archive())
    found = scan(stream)
    assert found.faults == ()
    assert {entry.name: content(stream, entry) for entry in found.entries} == CONTENTS


def test_every_byte_that_changes_is_found_and_its_place_named() -> None:
    data = archive()
    wanted = places(data)
    letters = name_bytes(data)
    for at in range(len(data)):
        for value in {data[at] ^ 1, data[at] ^ 0x80, data[at] ^ 0x20, 0, 255, ord("a")} - {data[at]}:
            changed = data[:at] + bytes([value]) + data[at + 1 :]
            told = [fault.where for fault in faults_of(changed)]
            if wanted[at] in told:
                continue
            # A letter of a name that is a good name again: which of both is true the archive cannot know.
            assert at in letters, (at, wanted[at], told)
            assert [fault.place for fault in faults_of(changed)] == ["local header"]


def test_two_places_that_tell_different_names_are_both_told() -> None:
    data = archive()
    at = data.index(b"evidence-0001")
    fault = faults_of(data[:at] + b"evidence-0009" + data[at + 13 :])[0]
    assert fault.where == "local header of bag/data/evidence-0001.jpg"
    assert "evidence-0009" in fault.text


@pytest.mark.parametrize("seed", range(20))
def test_bytes_cut_off_put_in_or_added_are_found(seed: int) -> None:
    dice, data = random.Random(seed), archive()
    at = dice.randrange(len(data))
    for changed in (data[:at], data[:at] + b"\0" + data[at:], data[:at] + data[at + 1 :], data + b"\0"):
        assert faults_of(changed)


def _other(form: Callable[[zipfile.ZipFile], None], **kind: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", **kind) as made:  # type: ignore[call-overload]
        form(made)
    return out.getvalue()


def _fixed(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    entry.create_system, entry.external_attr = 3, 0o100644 << 16
    return entry


def _with(**fields: object) -> zipfile.ZipInfo:
    entry = _fixed("a.txt")
    for name, value in fields.items():
        setattr(entry, name, value)
    return entry


def _comment(made: zipfile.ZipFile) -> None:
    made.writestr(_fixed("a.txt"), b"x")
    made.comment = b"hello"


def _twice(made: zipfile.ZipFile) -> None:
    made.writestr(_fixed("a.txt"), b"x")
    made.writestr(_fixed("a.txt"), b"y")


HOSTILE: dict[str, Callable[[zipfile.ZipFile], None]] = {
    "another date": lambda made: made.writestr(_with(date_time=(2020, 1, 1, 0, 0, 0)), b"x"),
    "compressed": lambda made: made.writestr(_with(compress_type=zipfile.ZIP_DEFLATED), b"x" * 99),
    "symbolic link": lambda made: made.writestr(_with(external_attr=0o120777 << 16), b"/etc/passwd"),
    "extra field": lambda made: made.writestr(_with(extra=b"\x99\x99\x02\x00ab"), b"x"),
    "comment of an entry": lambda made: made.writestr(_with(comment=b"c"), b"x"),
    "comment": _comment,
    "name twice": _twice,
    "parent folder": lambda made: made.writestr(_fixed("../a.txt"), b"x"),
    "absolute": lambda made: made.writestr(_fixed("/etc/passwd"), b"x"),
    "drive": lambda made: made.writestr(_fixed("C:/a.txt"), b"x"),
    "backslash": lambda made: made.writestr(_fixed("..\\a.txt"), b"x"),
    "hidden": lambda made: made.writestr(_fixed("bag/.hidden"), b"x"),
    "folder entry": lambda made: made.writestr(_fixed("bag/"), b""),
    "other script": lambda made: made.writestr(_fixed("b\u00fcndel.txt"), b"x"),
    "nothing in it": lambda made: None,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_an_archive_of_another_form_is_refused(name: str) -> None:
    # The plain form made by the same library passes, so that each refusal is due to what is named.
    assert faults_of(_other(lambda made: made.writestr(_fixed("a.txt"), b"x"))) == ()
    with pytest.warns(UserWarning, match="Duplicate") if name == "name twice" else _nothing():
        data = _other(HOSTILE[name])
    told = faults_of(data)
    assert told
    assert all(fault.text for fault in told)


class _nothing:  # noqa: N801 - stands where a context manager stands
    def __enter__(self) -> None: ...

    def __exit__(self, *_: object) -> None: ...


def test_zip64_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made, made.open(_fixed("a.txt"), "w", force_zip64=True) as entry:
        entry.write(b"x")
    assert faults_of(out.getvalue())


def test_names_in_another_order_are_refused() -> None:
    def form(made: zipfile.ZipFile) -> None:
        made.writestr(_fixed("b.txt"), b"x")
        made.writestr(_fixed("a.txt"), b"x")

    data = _other(form)
    assert [fault.text for fault in faults_of(data)] == ["a.txt does not stand in order"]


def test_encrypted_entries_are_refused() -> None:
    data = bytearray(archive({"a.txt": b"x"}))
    for at in (6, data.index(b"PK\x01\x02") + 8):
        data[at] |= 1
    assert {fault.place for fault in faults_of(bytes(data))} == {"local header", "central directory entry"}


def test_overlapping_entries_are_refused() -> None:
    # Two directory rows of one local header: the form of the archive that grows when it is unpacked.
    data = archive({"a.txt": b"x" * 40})
    row = data[data.index(b"PK\x01\x02") : -22]
    end = bytearray(data[-22:])
    end[8] = end[10] = 2
    end[12] = 2 * len(row)
    assert faults_of(data[:-22] + row + bytes(end))


@pytest.mark.parametrize(
    "name",
    ["", "/a", "../a", "a/../b", "a//b", "a/", "a\\b", "a b", "a\x00b", ".a", "a/.b", "C:a", "~a", "x" * 201],
)
def test_such_names_cannot_be_written(name: str) -> None:
    assert name_fault(name)
    with pytest.raises(ZipError):
        b"".join(zip_pieces([of_bytes(name, b"")]))


@pytest.mark.parametrize("names", [("a", "a"), ("a", "A"), ("a", "a/b"), ("A", "a/b")])
def test_names_that_one_file_system_could_not_hold_apart_cannot_be_written(names: tuple[str, str]) -> None:
    with pytest.raises(ZipError):
        b"".join(zip_pieces(of_bytes(name, b"") for name in names))


def test_an_entry_that_changes_while_it_is_written_stops_the_writer() -> None:
    entry = of_bytes("a.txt", b"planned")
    moved = Planned(name=entry.name, size=entry.size, crc32=entry.crc32, pieces=lambda: [b"another"])
    with pytest.raises(ZipError, match="changed while"):
        b"".join(zip_pieces([moved]))


def test_more_than_four_gigabytes_are_refused_before_a_byte_is_written() -> None:
    huge = [Planned(name=f"{n}.bin", size=1 << 31, crc32=0, pieces=list) for n in range(2)]
    with pytest.raises(ZipError, match="4 GiB"):
        next(zip_pieces(huge))


def test_an_archive_that_a_loader_starts_has_its_first_line_before_the_entries() -> None:
    line = b"#!/usr/bin/env python3\n"
    data = b"".join(zip_pieces([of_bytes("__main__.py", b"print(417)\n")], first=line))
    assert scan(io.BytesIO(data), first=line).faults == ()
    assert scan(io.BytesIO(data)).faults
    assert scan(io.BytesIO(b"#!/usr/bin/env python2\n" + data[len(line) :]), first=line).faults
