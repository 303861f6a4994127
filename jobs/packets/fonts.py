"""The packet's own typefaces: their files, the characters they can show, what stands in for others."""

import hashlib
import io
import os
import unicodedata
from functools import cache
from pathlib import Path
from typing import Final

import matplotlib
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

# Atkinson Hyperlegible Next and Mono, SIL Open Font Licence 1.1, licence text beside the files.
_OWN: Final = Path(__file__).resolve().parents[2] / "portal" / "static" / "fonts"
# DejaVu Sans travels inside the locked plotting library; it fills in where the first two have no glyph.
_FILL: Final = Path(matplotlib.get_data_path()) / "fonts" / "ttf"

FONT_FILES: Final[dict[str, Path]] = {
    "next-400.woff2": _OWN / "atkinson-hyperlegible-next-latin-400-normal.woff2",
    "next-700.woff2": _OWN / "atkinson-hyperlegible-next-latin-700-normal.woff2",
    "mono-400.woff2": _OWN / "atkinson-hyperlegible-mono-latin-400-normal.woff2",
    "mono-700.woff2": _OWN / "atkinson-hyperlegible-mono-latin-700-normal.woff2",
    "fill-400.ttf": _FILL / "DejaVuSans.ttf",
    "fill-700.ttf": _FILL / "DejaVuSans-Bold.ttf",
}


@cache
def opened_font(name: str) -> bytes:
    """The face of ``FONT_FILES`` as a plain TrueType file.

    Opening a compressed web font takes a tenth of a second, and each rendering is a process of its own. So
    the opened file is kept in the cache folder (``XDG_CACHE_HOME``), where there is one, under the hash of
    its source.
    """
    data = FONT_FILES[name].read_bytes()
    if not name.endswith("woff2"):
        return data
    folder = os.environ.get("XDG_CACHE_HOME")
    kept = Path(folder) / f"{hashlib.sha256(data).hexdigest()}.ttf" if folder else None
    if kept is not None and kept.is_file():
        return kept.read_bytes()
    face = TTFont(io.BytesIO(data))
    face.flavor = None
    buffer = io.BytesIO()
    face.save(buffer, reorderTables=False)
    if kept is not None:
        fresh = kept.with_suffix(f".{os.getpid()}")
        fresh.write_bytes(buffer.getvalue())
        fresh.replace(kept)
    return buffer.getvalue()


@cache
def shown_characters() -> frozenset[int]:
    """Code points that every weight of the packet's fonts together can show."""
    fill = TTFont(FONT_FILES["fill-400.ttf"], lazy=True).getBestCmap()
    bold = TTFont(FONT_FILES["fill-700.ttf"], lazy=True).getBestCmap()
    return frozenset(set(fill) & set(bold))


def printable(text: str) -> str:
    """The text with every character that cannot be shown written as its code point, ``[U+738B]``.

    A box in place of a name would be a loss that nobody sees; a font taken from whatever machine prints the
    packet would change its bytes from place to place.
    """
    return "".join(_shown(character) for character in unicodedata.normalize("NFC", text))


def _shown(character: str) -> str:
    if character in "\n\t":
        # A line's end means something where text stands word for word, and nothing anywhere else in a page.
        return "\n" if character == "\n" else " "
    if ord(character) in shown_characters() and unicodedata.category(character) not in ("Cc", "Cf", "Cs"):
        return character
    return f"[U+{ord(character):04X}]"
