"""Slip codes in photos: read where a person would read them, and nothing invented."""

import numpy as np
import pytest
import segno
from PIL import Image

from jobs.intake.photo import read_photo
from jobs.intake.slip_code import MOST_CODES, read_slip_texts
from tests.jobs.intake.pictures import encoded, scene

TEXT = "wm1.7d1f2a60-0f3e-4a0f-9a5e-1f6c3e5f0b11.1777991000.c2lnbmF0dXJl"


def code(text: str, scale: int = 6) -> Image.Image:
    """Made by segno, which is no reader: the two libraries check each other."""
    rows = list(segno.make(text, error="m", boost_error=False).matrix_iter(scale=scale, border=4))
    return Image.fromarray(np.where(np.array(rows, dtype=bool), 20, 240).astype(np.uint8)).convert("RGB")


def shot(*texts: str, turn: float = 0.0, size: tuple[int, int] = (2048, 1536)) -> Image.Image:
    picture = scene(*size)
    for place, text in enumerate(texts):
        card = code(text).rotate(turn, expand=True, fillcolor=(240, 240, 240))
        picture.paste(card, (60 + place % 4 * 480, 60 + place // 4 * 480))
    return picture


@pytest.mark.parametrize("turn", [0, 7, 90, 180, 233])
def test_read_from_a_photo_however_it_lies(turn: float) -> None:
    facts, _ = read_photo(encoded(shot(TEXT, turn=turn), quality=60), None)
    assert facts["slip_texts"] == [TEXT]


def test_none_where_none_is() -> None:
    assert read_photo(encoded(scene(2048, 1536)), None)[0]["slip_texts"] == []


def test_two_codes_in_one_order() -> None:
    luma = np.asarray(shot("second", "first", "first").convert("L"))
    assert read_slip_texts(luma) == ["first", "second"]


def test_a_covered_code_is_not_guessed() -> None:
    picture = shot(TEXT)
    picture.paste((128, 128, 128), (60, 60, 190, 430))
    assert read_slip_texts(np.asarray(picture.convert("L"))) == []


@pytest.mark.parametrize("text", ["x" * 201, "line\nbreak", "\x1b[31m"])
def test_codes_that_are_no_slip_are_left_out(text: str) -> None:
    assert read_slip_texts(np.asarray(shot(text).convert("L"))) == []


def test_number_of_codes_is_bounded() -> None:
    luma = np.asarray(shot(*(f"code {n}" for n in range(12)), size=(2048, 1536)).convert("L"))
    assert len(read_slip_texts(luma)) == MOST_CODES
