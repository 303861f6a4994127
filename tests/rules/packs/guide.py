"""The guide for pack authors: its generated parts. ``python -m tests.rules.packs.guide`` writes them anew."""

import re
from pathlib import Path

from rules.packs.check_words import checks_table, words_table
from rules.vocabulary import DEFAULT_ZONES, OPERATIONS, SENSORS

FOLDER = Path(__file__).parents[3] / "fixtures" / "packs"
GUIDE = FOLDER / "README.md"
EXAMPLE = FOLDER / "guide" / "kestmoor.1.yaml"
RADAR_EXAMPLE = FOLDER / "guide" / "thallin.1.yaml"


def parts() -> dict[str, str]:
    """What stands between the markers of each name."""
    return {
        "checks": checks_table(),
        "words": words_table(),
        "zones": zones_table(),
        "example": f"```yaml\n{EXAMPLE.read_text(encoding='utf-8')}```\n",
    }


def zones_table() -> str:
    """Which operations lie near which sensor, where no pack says otherwise."""
    lines = ["| sensor | operations near it |", "| --- | --- |"]
    for sensor in SENSORS:
        near = ", ".join(name for name in OPERATIONS if sensor in DEFAULT_ZONES.get(name, ()))
        lines.append(f"| {sensor} | {near or 'none'} |")
    return "\n".join(lines) + "\n"


def between(name: str, text: str) -> str:
    found = re.search(rf"<!-- {name} -->\n(.*?)<!-- end of {name} -->\n", text, re.DOTALL)
    assert found is not None, name
    return found[1]


def renewed(text: str) -> str:
    for name, part in parts().items():
        old = between(name, text)
        text = text.replace(
            f"<!-- {name} -->\n{old}<!-- end of {name} -->", f"<!-- {name} -->\n{part}<!-- end of {name} -->"
        )
    return text


if __name__ == "__main__":
    GUIDE.write_text(renewed(GUIDE.read_text(encoding="utf-8")), encoding="utf-8")
