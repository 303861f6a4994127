"""check.html: one page for a browser, put together from page, style and script; it needs no network."""

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import Final

NAME: Final = "check.html"
SOURCE: Final = Path(__file__).parent / "browser"
SCRIPTS: Final = (
    "canonical.js",
    "tree.js",
    "zip.js",
    "der.js",
    "checks.js",
    "told.js",
    "later.js",
    "screen.js",
)


def script() -> str:
    """The whole script as it stands in the page."""
    parts = [(SOURCE / name).read_text(encoding="utf-8") for name in SCRIPTS]
    return '"use strict";\n' + "\n".join(parts)


@cache
def check_html() -> bytes:
    """The page; its policy names script and style by their hashes, so that nothing else can run in it."""
    style = (SOURCE / "check.css").read_text(encoding="utf-8")
    page = (SOURCE / "check.html").read_text(encoding="utf-8")
    for mark, text in (
        ("@@SCRIPT-HASH@@", _source(script())),
        ("@@STYLE-HASH@@", _source(style)),
        ("@@SCRIPT@@", script()),
        ("@@STYLE@@", style),
    ):
        page = page.replace(mark, text)
    return page.encode()


def _source(text: str) -> str:
    """How a policy names an inline text (CSP level 3, section 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode("ascii")
