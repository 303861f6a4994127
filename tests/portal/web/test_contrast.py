"""The colour tokens of the pages against the contrast formula of WCAG 2.2 (W3C Recommendation)."""

import json
import re
from pathlib import Path
from typing import Any, Final

import pytest

ROOT: Final = Path(__file__).parents[3]
CSS: Final = ROOT / "portal" / "static" / "css"
# Outside check of the formula itself: ratios computed elsewhere from the text of WCAG 2.2.
KNOWN: Final = json.loads((ROOT / "tests" / "reference" / "wcag_contrast.json").read_text())

# (foreground, background, least ratio): 4.5 and 3 are success criteria 1.4.3 and 1.4.11, 7 is 1.4.6.
PAIRS: Final = (
    *(("ink", ground, 7.0) for ground in ("page", "surface", "recess")),
    *(("ink", ground, 7.0) for ground in ("met-t", "notmet-t", "noshow-t", "decide-t")),
    ("ink-2", "surface", 7.0),
    ("ink-2", "page", 4.5),
    ("ink-2", "recess", 4.5),
    *(("edge", ground, 3.0) for ground in ("surface", "page", "recess")),
    *(("met", ground, 4.5) for ground in ("surface", "page", "recess", "met-t")),
    *(("notmet", ground, 4.5) for ground in ("surface", "page", "notmet-t")),
    *(("noshow", ground, 4.5) for ground in ("surface", "page", "noshow-t")),
    *(("decide", ground, 4.5) for ground in ("surface", "page", "decide-t")),
    ("on-solid", "notmet", 4.5),
    ("on-solid", "met", 4.5),
    ("on-now", "now", 7.0),
    ("on-bar", "bar", 7.0),
    ("bar-2", "bar", 4.5),
)
LOOKS: Final = ("light", "dark", "sunlight", "auto, dark", "auto, more contrast", "print")


def ratio(one: str, other: str) -> float:
    """Contrast ratio of two colours ``#RRGGBB``, at least 1."""
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    red, green, blue = (_linear(int(colour[place : place + 2], 16) / 255) for place in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(share: float) -> float:
    return float(share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4)


def tokens() -> dict[str, dict[str, str]]:
    """The colours of every look, as the style sheets give them."""
    sheet = (CSS / "tokens.css").read_text(encoding="utf-8")
    autos = _blocks(sheet, r'\[data-theme="auto"\]')
    return {
        "light": _blocks(sheet, ":root")[0],
        "dark": _blocks(sheet, r'^\[data-theme="dark"\]')[0],
        "sunlight": _blocks(sheet, r'^\[data-theme="sunlight"\]')[0],
        "auto, dark": autos[0],
        "auto, more contrast": autos[1],
        "print": _blocks((CSS / "print.css").read_text(encoding="utf-8"), r":root, \[data-theme\]")[0],
    }


def _blocks(sheet: str, selector: str) -> list[dict[str, str]]:
    found = re.findall(rf"{selector} \{{([^}}]*)\}}", sheet, flags=re.MULTILINE)
    return [dict(re.findall(r"--([a-z0-9-]+): (#[0-9A-F]{6})", block)) for block in found]


@pytest.mark.parametrize("pair", KNOWN["pairs"], ids=lambda pair: f"{pair['fg']} on {pair['bg']}")
def test_the_formula_gives_the_known_ratios(pair: dict[str, Any]) -> None:
    assert ratio(pair["fg"], pair["bg"]) == pytest.approx(pair["ratio"], abs=1e-9)


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_every_pair_reaches_its_aim(look: str, front: str, ground: str, least: float) -> None:
    colours = tokens()[look]
    assert ratio(colours[front], colours[ground]) >= least


def test_the_look_that_follows_the_machine_has_the_same_colours() -> None:
    looks = tokens()
    assert looks["auto, dark"] == looks["dark"]
    assert looks["auto, more contrast"] == looks["sunlight"]


def test_no_colour_is_written_outside_the_tokens() -> None:
    for sheet in CSS.glob("*.css"):
        if sheet.name in ("tokens.css", "print.css", "api-docs.css"):
            continue
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?=[;, }])", sheet.read_text(encoding="utf-8")) == []


def test_yellow_on_white_is_never_its_own_boundary() -> None:
    """Yellow against white is far below 3: the ink border bounds it, so both must be there."""
    looks = tokens()
    for look in ("light", "sunlight"):
        assert (
            ratio(looks[look]["now"], looks[look]["surface"])
            < 3
            < ratio(looks[look]["on-now"], looks[look]["now"])
        )
    rules = (CSS / "components.css").read_text(encoding="utf-8")
    assert re.search(r"\.nowplate \{[^}]*border: 3px solid var\(--on-now\)", rules)
    assert re.search(r"\.button\.now \{[^}]*border-width: 3px", rules)
