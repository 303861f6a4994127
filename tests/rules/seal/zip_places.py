"""Which part of a good archive each of its bytes belongs to, told by the standard library's reader."""

import io
import struct
import zipfile


def places(data: bytes) -> list[str]:
    """For each byte ``place of entry`` as our reader must name it."""
    told = ["end record"] * len(data)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        rows = archive.infolist()
        row = archive.start_dir
    for entry in rows:
        name, extra = struct.unpack("<HH", data[entry.header_offset + 26 : entry.header_offset + 30])
        start = entry.header_offset + 30 + name + extra
        _mark(told, entry.header_offset, start, f"local header of {entry.filename}")
        _mark(told, start, start + entry.file_size, f"content of {entry.filename}")
        _mark(told, row, row + 46 + name, f"central directory entry of {entry.filename}")
        row += 46 + name
    return told


def name_bytes(data: bytes) -> set[int]:
    """Where the names of entries stand, in local headers and in the directory."""
    told, found = places(data), set()
    for at, place in enumerate(told):
        fixed = {"local header": 30, "central directory entry": 46}.get(place.partition(" of ")[0])
        if fixed is not None and (at == 0 or told[at - 1] != place):
            found |= set(range(at + fixed, at + fixed + len(place.partition(" of ")[2])))
    return found


def _mark(told: list[str], start: int, end: int, name: str) -> None:
    told[start:end] = [name] * (end - start)
