"""Charts of a packet as SVG: the same data give the same bytes, and every difference also reads in grey.

Each chart has its facts in words and in a table beside it; the chart is for those who would rather look.
"""

import io
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Rectangle

from jobs.packets.fonts import opened_font

# Print colours of the packet; grey values differ, and fill against hatching carries the meaning anyway.
INK: Final = "#000000"
SECOND: Final = "#3A3A3A"
EDGE: Final = "#4A4A4A"
RULE: Final = "#B5B5B5"
COUNTED: Final = "#163F86"
COUNTED_TINT: Final = "#C3CFE6"
# Width of the page's text on A4, in inches; Letter is a little wider and the drawing grows with it.
WIDTH_IN: Final = 7.06
TEXT_PT: Final = 8.4
# Left edge and width of a drawing area as shares of the figure; the right margin holds the limits' words.
LEFT: Final = 0.075
WIDE: Final = 0.815

mpl.rcParams.update(
    {
        "svg.hashsalt": "packet",
        "svg.fonttype": "path",
        "path.simplify": False,
        "hatch.linewidth": 0.7,
        "axes.linewidth": 0.8,
    }
)


@cache
def _font(bold: bool = False) -> FontProperties:
    """The packet's typeface for the plotting library, which reads no compressed web fonts."""
    name = "next-700.woff2" if bold else "next-400.woff2"
    path = Path(tempfile.mkdtemp()) / f"{name}.ttf"
    path.write_bytes(opened_font(name))
    return FontProperties(fname=str(path), size=TEXT_PT)


def draw(chart: dict[str, Any]) -> bytes:
    """The SVG of one chart; ``chart`` is plain data with a ``kind`` of drive, voltage or climate."""
    return DRAWERS[chart["kind"]](chart)


def _svg(figure: Figure) -> bytes:
    buffer = io.BytesIO()
    FigureCanvasSVG(figure).print_svg(  # type: ignore[no-untyped-call]
        buffer, metadata={"Date": None, "Creator": None}
    )
    return buffer.getvalue()


def _frame(axes: Axes, chart: dict[str, Any], label: str) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(EDGE)
    axes.set_xlim(*chart["span"])
    axes.tick_params(colors=EDGE, length=3, width=0.8)
    axes.set_ylabel(label, fontproperties=_font(), color=SECOND)
    _ticks(axes, chart)


def _ticks(axes: Axes, chart: dict[str, Any]) -> None:
    axes.set_xticks([at for at, _ in chart["ticks"]], [text for _, text in chart["ticks"]])
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(_font())
        text.set_color(INK)


def _limit_line(axes: Axes, level: float, text: str) -> None:
    """A dashed level with its words in the right margin, where they hide nothing."""
    axes.axhline(level, color=INK, linewidth=1.0, dashes=(5, 3))
    axes.annotate(
        text,
        (1.0, level),
        xycoords=("axes fraction", "data"),
        xytext=(4, 0),
        textcoords="offset points",
        ha="left",
        va="center",
        linespacing=0.95,
        annotation_clip=False,
        fontproperties=_font(),
        color=INK,
    )


def _under(chart: dict[str, Any], start: float, end: float) -> tuple[list[float], list[float]]:
    """The curve between two instants, with its values at the ends read off the straight lines."""
    xs: list[float] = []
    ys: list[float] = []
    for (t1, v1), (t2, v2) in zip(chart["curve"], chart["curve"][1:], strict=False):
        low, high = max(t1, start), min(t2, end)
        if t2 <= t1 or high < low:
            continue
        for at in (low, high):
            if not xs or at > xs[-1]:
                xs.append(at)
                ys.append(v1 + (v2 - v1) * (at - t1) / (t2 - t1))
    return xs, ys


def draw_drive(chart: dict[str, Any]) -> bytes:
    """Speed over the drive: counted stretches filled, all others hatched, gaps white with dashed sides."""
    figure = Figure(figsize=(WIDTH_IN, 2.75))
    axes = figure.add_axes((LEFT, 0.36, WIDE, 0.60))
    lane = figure.add_axes((LEFT, 0.06, WIDE, 0.155))
    axes.set_ylim(0, chart["top"])
    for part in chart["stretches"]:
        _fill_stretch(axes, chart, part)
    for line in chart["lines"]:
        axes.plot(
            [t for t, _ in line], [v for _, v in line], color=INK, linewidth=1.3, solid_joinstyle="round"
        )
    for level, text in chart["limits"]:
        _limit_line(axes, level, text)
    _frame(axes, chart, "km/h")
    _lane(lane, chart)
    return _svg(figure)


def _fill_stretch(axes: Axes, chart: dict[str, Any], part: dict[str, Any]) -> None:
    if part["kind"] == "gap":
        for at in (part["start"], part["end"]):
            axes.axvline(at, color=EDGE, linewidth=0.9, dashes=(2, 2))
        return
    xs, ys = _under(chart, part["start"], part["end"])
    if part["kind"] == "counts":
        axes.fill_between(xs, ys, color=COUNTED_TINT, linewidth=0)
    else:
        axes.fill_between(xs, ys, facecolor="white", edgecolor=RULE, hatch="////", linewidth=0)


def _lane(axes: Axes, chart: dict[str, Any]) -> None:
    """One row of blocks: solid with seconds where it counts, dashed with the reason where it does not."""
    axes.set_xlim(*chart["span"])
    axes.set_ylim(0, 2)
    axes.axis("off")
    width = chart["span"][1] - chart["span"][0]
    lead = 0
    for part in chart["stretches"]:
        start, long = part["start"], part["end"] - part["start"]
        counts = part["kind"] == "counts"
        axes.add_patch(
            Rectangle(
                (start, 1.05),
                long,
                0.9,
                facecolor=COUNTED if counts else "white",
                edgecolor=COUNTED if counts else EDGE,
                linewidth=0.9,
                linestyle="solid" if counts else (0, (2.5, 1.8)),
            )
        )
        middle = start + long / 2
        # About 1.15 per cent of the width is one letter at this size.
        if long / width > 0.0115 * len(part["label"]) + 0.008:
            axes.text(
                middle,
                1.46,
                part["label"],
                ha="center",
                va="center",
                color="white" if counts else INK,
                fontproperties=_font(counts),
            )
            lead = 0
        elif part["named"]:
            # Two rows in turn keep narrow neighbours apart.
            y = (0.55, 0.0)[lead % 2]
            lead += 1
            at = min(max(middle, chart["span"][0] + width * 0.02), chart["span"][1] - width * 0.02)
            axes.plot([middle, at], [1.05, y + 0.42], color=EDGE, linewidth=0.6)
            axes.text(at, y + 0.1, part["label"], ha="center", va="center", color=INK, fontproperties=_font())


def draw_voltage(chart: dict[str, Any]) -> bytes:
    """Supply voltage with its limits and the guard beside each, the session shaded, gaps hatched."""
    figure = Figure(figsize=(WIDTH_IN, 2.1))
    axes = figure.add_axes((LEFT, 0.13, WIDE, 0.82))
    axes.set_ylim(*chart["range"])
    axes.axvspan(*chart["session"], facecolor="#F0F0F0", edgecolor="none")
    for start, end in chart["gaps"]:
        axes.axvspan(start, end, facecolor="white", edgecolor=EDGE, hatch="////", linewidth=0.6)
    for level, guard in chart["guards"]:
        axes.axhspan(
            level - guard, level + guard, facecolor="white", edgecolor=RULE, hatch="....", linewidth=0
        )
    for line in chart["lines"]:
        axes.plot([t for t, _ in line], [v for _, v in line], color=INK, linewidth=1.3)
    for level, text in chart["limits"]:
        _limit_line(axes, level, text)
    for at, text in chart["marks"]:
        axes.axvline(at, color=INK, linewidth=0.8, dashes=(1, 2))
        axes.annotate(
            text, (at, chart["range"][1]), xytext=(3, -2), textcoords="offset points", va="top",
            fontproperties=_font(), color=INK,
        )  # fmt: skip
    _frame(axes, chart, "V")
    return _svg(figure)


def draw_climate(chart: dict[str, Any]) -> bytes:
    """Temperature and humidity after the glass was set, against the band edges of the maker's table."""
    figure = Figure(figsize=(WIDTH_IN, 2.9))
    upper = figure.add_axes((LEFT, 0.54, WIDE, 0.42))
    lower = figure.add_axes((LEFT, 0.085, WIDE, 0.40))
    for axes, part, label in ((upper, chart["temp"], "°C"), (lower, chart["rh"], "% RH")):
        axes.set_ylim(*part["range"])
        for level, text in part["bands"]:
            _limit_line(axes, level, text)
        axes.plot([t for t, _ in part["curve"]], [v for _, v in part["curve"]], color=INK, linewidth=1.4)
        axes.plot(
            [t for t, _ in part["lowest"]],
            [v for _, v in part["lowest"]],
            color=COUNTED,
            linewidth=2.0,
            drawstyle="steps-post",
            dashes=(6, 2),
        )
        for at, text in chart["marks"]:
            axes.axvline(at, color=INK, linewidth=1.1)
            axes.annotate(
                text, (at, part["range"][1]), xytext=(3, -1), textcoords="offset points", va="top",
                fontproperties=_font(True), color=INK,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4},
            )  # fmt: skip
        _frame(axes, chart, label)
    upper.set_xticklabels([])
    return _svg(figure)


DRAWERS: Final[dict[str, Callable[[dict[str, Any]], bytes]]] = {
    "drive": draw_drive,
    "voltage": draw_voltage,
    "climate": draw_climate,
}
