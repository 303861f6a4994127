"""Names of a check's numbers as words: without the unit that stands beside the value anyway."""

from typing import Final

from jobs.packets.pages.words import plain, sentence_case
from rules.verdict import Number

# Endings that repeat the unit.
_UNIT_ENDINGS: Final = {
    "s": "_s",
    "km": "_km",
    "mm": "_mm",
    "kPa": "_kpa",
    "V": "_v",
    "deg": "_deg",
    "degC": "_degc",
    "percent": "_percent",
    "min": "_min",
    "km/h": "_kph",
    "days": "_days",
}
_WORDS: Final = {
    "counted": "counted",
    "longest": "longest counted stretch",
    "high": "at most, if every gap counted",
    "longest high": "longest stretch, if every gap counted",
    "track": "length of the whole track",
    "distance": "length",
    "rh": "humidity",
    "temp": "temperature",
}
# Short words that are written out wherever they stand.
_SHORT: Final = ("rh", "temp")


def number_name(number: Number) -> str:
    """``counted_s`` in seconds becomes ``Counted``; ``run_1_s`` becomes ``Run 1``."""
    name = number.name
    ending = _UNIT_ENDINGS.get(number.unit, "")
    if ending and name.lower().endswith(ending):
        name = name[: -len(ending)]
    if name.startswith("uncounted_"):
        return f"Not counted, {plain(name.removeprefix('uncounted_'))}"
    words = plain(name)
    if words in _WORDS:
        return sentence_case(_WORDS[words])
    return sentence_case(
        " ".join(_WORDS.get(word, word) if word in _SHORT else word for word in words.split())
    )
