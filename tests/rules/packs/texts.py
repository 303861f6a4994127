"""A small pack of the invented world as text, for changing one line at a time."""

from pathlib import Path

BASE = (Path(__file__).parent / "small_pack.yaml").read_text(encoding="utf-8")


def line_of(part: str, text: str = BASE) -> int:
    """The number of the first line that holds ``part``."""
    for number, line in enumerate(text.split("\n"), start=1):
        if part in line:
            return number
    raise AssertionError(part)


def changed(old: str, new: str, text: str = BASE) -> str:
    """The text with the one place ``old`` replaced; the place must be there exactly once."""
    assert text.count(old) == 1, (old, text.count(old))
    return text.replace(old, new)
