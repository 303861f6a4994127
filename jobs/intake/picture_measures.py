"""Numbers of a picture: difference hash, sharpness, clipping, small luma; on 8-bit BT.601 luma."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Luma = NDArray[np.uint8]
Averages = NDArray[np.float64]

# Coding noise moves a clipped area by a count or two, so the ends are taken a little wide (project default).
DARKEST_CLIPPED: Final = 2
BRIGHTEST_CLIPPED: Final = 253
SHARPNESS_WIDTH: Final = 1024
SMALL_SIDE: Final = 64


def area_average(luma: NDArray[np.generic], rows: int, columns: int) -> Averages:
    """``luma`` scaled to ``rows`` x ``columns`` by the exact mean over each cell's area, in double precision.

    Cell borders fall between pixels, so a pixel may belong to two cells by shares. One row of cells is worked
    on at a time: a picture of 60 megapixels must not become half a gigabyte of doubles.
    """
    height, width = luma.shape
    edges = np.linspace(0.0, width, columns + 1)
    places = np.arange(width + 1, dtype=np.float64)
    result = np.empty((rows, columns), dtype=np.float64)
    for row in range(rows):
        top, bottom = height * row / rows, height * (row + 1) / rows
        line = _row_mean(luma, top, bottom)
        running = np.concatenate(([0.0], np.cumsum(line)))
        result[row] = np.diff(np.interp(edges, places, running)) * (columns / width)
    return result


def _row_mean(luma: NDArray[np.generic], top: float, bottom: float) -> Averages:
    """Mean of the rows from ``top`` to ``bottom``, both in rows, the first and last one by their share."""
    first, last = int(top), min(int(np.ceil(bottom)), luma.shape[0])
    block = luma[first:last]
    total = np.sum(block, axis=0, dtype=np.float64)
    total -= block[0] * (top - first)
    total -= block[-1] * (last - bottom)
    mean: Averages = total / (bottom - top)
    return mean


def difference_hash(luma: NDArray[np.generic]) -> str:
    """64-bit difference hash, 16 hexadecimal digits: 9 x 8 cells, bit = left < right, first bit highest."""
    # Rounded, so that equal areas are equal whatever the order of the sums was.
    cells = np.round(area_average(luma, 8, 9), 6)
    value = 0
    for bit in (cells[:, :-1] < cells[:, 1:]).ravel():
        value = value << 1 | int(bit)
    return f"{value:016x}"


def laplacian_variance(luma: NDArray[np.generic]) -> float | None:
    """Variance of the 3 x 3 Laplacian (0 1 0; 1 -4 1; 0 1 0) over the inner pixels; None below 3 x 3."""
    if min(luma.shape) < 3:
        return None
    grey = luma.astype(np.float64)
    response = grey[:-2, 1:-1] + grey[2:, 1:-1] + grey[1:-1, :-2] + grey[1:-1, 2:] - 4.0 * grey[1:-1, 1:-1]
    return float(np.var(response))


def sharpness(luma: Luma) -> float | None:
    """:func:`laplacian_variance` on luma scaled to 1024 wide; a narrower picture is taken as it is."""
    height, width = luma.shape
    if width <= SHARPNESS_WIDTH:
        return laplacian_variance(luma)
    return laplacian_variance(
        area_average(luma, max(1, round(height * SHARPNESS_WIDTH / width)), SHARPNESS_WIDTH)
    )


def clipped_share(luma: Luma) -> float:
    """Share of pixels at either end of the scale, 0 to 1."""
    counts = np.bincount(luma.ravel(), minlength=256)
    clipped = int(counts[: DARKEST_CLIPPED + 1].sum() + counts[BRIGHTEST_CLIPPED:].sum())
    return clipped / luma.size


def mean_luma(luma: Luma) -> float:
    """Mean of all pixels, 0 to 255."""
    return float(np.mean(luma, dtype=np.float64))


def small_luma(luma: Luma) -> bytes:
    """64 x 64 luma, rounded to bytes, row by row."""
    return np.rint(area_average(luma, SMALL_SIDE, SMALL_SIDE)).astype(np.uint8).tobytes()
