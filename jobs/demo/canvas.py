"""A drawing board for the pictures of the invented world: unit coordinates, smooth edges, light and grain."""

import random
from collections.abc import Sequence
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFont

Point = tuple[float, float]
Colour = tuple[int, int, int]

# The board is 1024 x 768 units; it is drawn four times as fine and halved, which smooths the edges.
WIDTH: Final = 1024
HEIGHT: Final = 768
_FINE: Final = 4
SIZE: Final = (2048, 1536)


class Canvas:
    """One picture under work. Shapes are given in units from the top left corner."""

    def __init__(self, seed: str, ground: Colour) -> None:
        """``seed`` decides light, grain and every random place: the same seed draws the same picture."""
        self.chance = random.Random(seed)  # noqa: S311 - places of shapes, no secrets
        self.image = Image.new("RGB", (WIDTH * _FINE, HEIGHT * _FINE), ground)
        self._draw = ImageDraw.Draw(self.image)
        self._seed = seed

    def box(
        self,
        corners: tuple[float, float, float, float],
        fill: Colour,
        *,
        radius: float = 0,
        edge: Colour | None = None,
        line: float = 1.5,
    ) -> None:
        """A rectangle (left, top, right, bottom), with round corners if ``radius`` is given."""
        fine = tuple(_FINE * value for value in corners)
        self._draw.rounded_rectangle(fine, _FINE * radius, fill, edge, round(_FINE * line))

    def shape(self, points: Sequence[Point], fill: Colour) -> None:
        """A filled polygon."""
        self._draw.polygon(_fine(points), fill)

    def path(self, points: Sequence[Point], colour: Colour, line: float = 2.0) -> None:
        """A line through points."""
        self._draw.line(_fine(points), colour, round(_FINE * line), joint="curve")

    def disc(
        self,
        centre: Point,
        radius: float,
        fill: Colour | None,
        *,
        edge: Colour | None = None,
        line: float = 2.0,
    ) -> None:
        x, y = centre
        fine = [_FINE * (x - radius), _FINE * (y - radius), _FINE * (x + radius), _FINE * (y + radius)]
        self._draw.ellipse(fine, fill, edge, round(_FINE * line))

    def arc(
        self, centre: Point, radius: float, angles: tuple[float, float], colour: Colour, line: float
    ) -> None:
        """Part of a circle, angles in degrees clockwise from three o'clock."""
        x, y = centre
        fine = [_FINE * (x - radius), _FINE * (y - radius), _FINE * (x + radius), _FINE * (y + radius)]
        self._draw.arc(fine, angles[0], angles[1], colour, round(_FINE * line))

    def text(self, at: Point, words: str, size: float, colour: Colour, *, anchor: str = "mm") -> None:
        """Words with their anchor (Pillow's two letters; ``mm`` is the middle) at a point."""
        font = ImageFont.load_default(_FINE * size)
        self._draw.text((_FINE * at[0], _FINE * at[1]), words, colour, font, anchor)

    def paste(self, picture: Image.Image, corners: tuple[float, float, float, float]) -> None:
        """A ready picture, scaled hard-edged into a rectangle."""
        left, top, right, bottom = (round(_FINE * value) for value in corners)
        self.image.paste(picture.resize((right - left, bottom - top), Image.Resampling.NEAREST), (left, top))

    def finished(self, *, darkest: float = 0.7, brightest: float = 1.1) -> Image.Image:
        """The picture at its final size under uneven light, with the grain of a camera."""
        grey_noise = np.random.default_rng(int.from_bytes(self._seed.encode()[-8:], "big"))
        lights = np.array(
            [[self.chance.uniform(darkest, brightest) for _ in range(6)] for _ in range(5)], dtype=np.float32
        )
        light = np.asarray(Image.fromarray(lights).resize(SIZE, Image.Resampling.BICUBIC))
        pixels = np.asarray(self.image.reduce(_FINE // 2), dtype=np.float32)
        grain = grey_noise.normal(0.0, 3.4, size=(SIZE[1], SIZE[0])).astype(np.float32)
        lit = pixels * light[..., np.newaxis] + grain[..., np.newaxis]
        # No sensor gives pure black or white over whole areas.
        return Image.fromarray(np.clip(lit, 6.0, 249.0).astype(np.uint8))


def _fine(points: Sequence[Point]) -> list[Point]:
    return [(_FINE * x, _FINE * y) for x, y in points]


def shaded(colour: Colour, factor: float) -> Colour:
    """A colour made darker (below 1) or lighter (above 1)."""
    red, green, blue = (max(0, min(255, round(part * factor))) for part in colour)
    return red, green, blue
