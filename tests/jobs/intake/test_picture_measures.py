"""Numbers of a picture against worked examples and independent computations."""

import numpy as np
import pytest
from PIL import Image

from jobs.intake.picture_measures import (
    area_average,
    clipped_share,
    difference_hash,
    laplacian_variance,
    mean_luma,
    sharpness,
    small_luma,
)

CROSS = np.array(
    [
        [10, 10, 10, 10, 10],
        [10, 10, 90, 10, 10],
        [10, 90, 90, 90, 10],
        [10, 10, 90, 10, 10],
        [10, 10, 10, 10, 10],
    ],
    dtype=np.uint8,
)


def cells_of(hexadecimal: str) -> np.ndarray:
    """9 x 8 cells whose neighbours rise exactly where the hash has a bit."""
    bits = f"{int(hexadecimal, 16):064b}"
    cells = np.full((8, 9), 128)
    for row in range(8):
        for column in range(8):
            cells[row, column + 1] = cells[row, column] + (7 if bits[8 * row + column] == "1" else -7)
    return cells.astype(np.uint8)


@pytest.mark.parametrize(
    "hexadecimal", ["c3a5916e7d20f48b", "c3a5816e7d22f483", "c7a1932c7530e6a9", "0" * 16]
)
@pytest.mark.parametrize("enlarged", [1, 3, 40])
def test_difference_hash_row_by_row_first_bit_highest(hexadecimal: str, enlarged: int) -> None:
    cells = np.kron(cells_of(hexadecimal), np.ones((enlarged, enlarged), dtype=np.uint8))
    assert difference_hash(cells) == hexadecimal


def test_equal_neighbours_give_no_bit() -> None:
    for height, width in ((80, 90), (1517, 2043), (1201, 1601)):
        assert difference_hash(np.full((height, width), 17, dtype=np.uint8)) == "0" * 16


def test_laplacian_worked_example() -> None:
    """Response 160 -240 160 / -240 0 -240 / 160 -240 160: mean -320/9, variance 2,892,800/81 = 35713.58."""
    assert laplacian_variance(CROSS) == pytest.approx(2_892_800 / 81, abs=1e-6)
    assert laplacian_variance(CROSS) == pytest.approx(35713.6, abs=0.05)


def test_laplacian_needs_three_pixels() -> None:
    assert laplacian_variance(np.zeros((2, 9), dtype=np.uint8)) is None
    assert laplacian_variance(np.zeros((3, 3), dtype=np.uint8)) == 0.0


@pytest.mark.parametrize(("height", "width"), [(768, 1024), (1517, 2043), (7, 11), (8, 9), (5, 4), (1, 1)])
@pytest.mark.parametrize(("rows", "columns"), [(8, 9), (64, 64)])
def test_area_average_against_pillow(height: int, width: int, rows: int, columns: int) -> None:
    """Outside check: Pillow's box filter in 32-bit floating point, where it only makes smaller."""
    luma = np.random.default_rng(4).integers(0, 256, size=(height, width), dtype=np.uint8)
    ours = area_average(luma, rows, columns)
    assert ours.mean() == pytest.approx(luma.mean(), abs=1e-9)
    if height >= rows and width >= columns and height % rows == 0 and width % columns == 0:
        theirs = Image.fromarray(luma).convert("F").resize((columns, rows), Image.Resampling.BOX)
        assert np.abs(ours - np.asarray(theirs)).max() < 1e-3


def test_area_average_by_exact_fractions() -> None:
    """4 pixels to 3 cells: each cell holds one and a third pixels."""
    ours = area_average(np.array([[0, 30, 60, 90]], dtype=np.uint8), 1, 3)
    assert ours[0] == pytest.approx(
        [(0 + 30 / 3) / (4 / 3), (30 * 2 / 3 + 60 * 2 / 3) / (4 / 3), 82.5], abs=1e-9
    )
    down = area_average(np.array([[0], [30], [60], [90]], dtype=np.uint8), 3, 1)
    assert down[:, 0] == pytest.approx(list(ours[0]), abs=1e-9)


def test_luma_is_bt_601() -> None:
    """Outside check: ITU-R BT.601, Y = 0.299 R + 0.587 G + 0.114 B, to the nearest step of 8 bits."""
    for colour in ((255, 0, 0), (0, 255, 0), (0, 0, 255), (12, 200, 77), (255, 255, 255)):
        luma = Image.new("RGB", (1, 1), colour).convert("L").getpixel((0, 0))
        assert luma == round(0.299 * colour[0] + 0.587 * colour[1] + 0.114 * colour[2])


@pytest.mark.parametrize(
    ("value", "share"),
    [(0, 1.0), (2, 1.0), (3, 0.0), (252, 0.0), (253, 1.0), (255, 1.0)],
)
def test_clipping(value: int, share: float) -> None:
    assert clipped_share(np.full((10, 10), value, dtype=np.uint8)) == share


def test_clipped_share_and_mean() -> None:
    luma = np.array([[0, 100, 100, 255]], dtype=np.uint8)
    assert clipped_share(luma) == 0.5
    assert mean_luma(luma) == 113.75


def test_sharpness_is_taken_at_1024_wide() -> None:
    """A pattern finer than the scaled pixels vanishes; a narrow picture is measured as it is."""
    fine = np.indices((64, 2048)).sum(axis=0) % 2 * 200
    assert sharpness(fine.astype(np.uint8)) == pytest.approx(0.0, abs=1e-9)
    assert sharpness(fine[:, :1024].astype(np.uint8)) == laplacian_variance(fine[:, :1024].astype(np.uint8))


def test_small_luma_is_64_by_64() -> None:
    assert small_luma(np.full((1200, 1600), 77, dtype=np.uint8)) == bytes([77]) * 4096
