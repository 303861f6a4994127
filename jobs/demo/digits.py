"""Seven-segment digits, as displays in cars show them."""

from typing import Final

from jobs.demo.canvas import Canvas, Colour

# Segments a to g: top, upper right, lower right, bottom, lower left, upper left, middle.
_LIT: Final = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "-": "g",
    " ": "",
}
_ON: Final[Colour] = (20, 28, 22)
_OFF: Final[Colour] = (138, 164, 138)


def draw_number(canvas: Canvas, digits: str, at: tuple[float, float], height: float) -> None:
    """Draws digits from the left end ``at``, ``height`` units high; dark segments stay faintly visible."""
    left, top = at
    for digit in digits:
        for segment in "abcdefg":
            colour = _ON if segment in _LIT.get(digit, "") else _OFF
            canvas.box(_segment(segment, left, top, height), colour, radius=height * 0.04)
        left += height * 0.78


def _segment(segment: str, left: float, top: float, height: float) -> tuple[float, float, float, float]:
    width, thick = height * 0.56, height * 0.12
    middle, bottom, right = top + height / 2, top + height, left + width
    across = (left + thick * 0.7, right - thick * 0.7)
    bars = {"a": top, "g": middle - thick / 2, "d": bottom - thick}
    if segment in bars:
        return across[0], bars[segment], across[1], bars[segment] + thick
    x = left if segment in "ef" else right - thick
    upper = segment in "bf"
    y = (top + thick * 0.6, middle - thick * 0.2) if upper else (middle + thick * 0.2, bottom - thick * 0.6)
    return x, y[0], x + thick, y[1]
