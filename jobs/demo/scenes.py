"""What the photos of the invented world show: one drawn scene per photo subject, none of a real make."""

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import segno
from PIL import Image

from jobs.demo.canvas import HEIGHT, WIDTH, Canvas, Colour, shaded
from jobs.demo.digits import draw_number

_PAINTS: Final[tuple[Colour, ...]] = (
    (148, 62, 54),
    (58, 92, 122),
    (96, 118, 92),
    (176, 170, 158),
    (82, 82, 92),
)
_INK: Final[Colour] = (24, 28, 30)
_GLASS: Final[Colour] = (70, 88, 96)
_TYRE: Final[Colour] = (34, 34, 36)
_CHROME: Final[Colour] = (186, 190, 192)
_AMBER: Final[Colour] = (232, 160, 40)


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What a scene shows besides itself.

    Attributes:
        job: order number on the slip card.
        slip: content of the slip's two-dimensional code, None where no slip is in the picture.
        text: what is to be read from the picture (plate, mileage, VIN, marking).
    """

    job: str
    slip: str | None = None
    text: str = ""


def draw_scene(subject: str, setting: Setting) -> Image.Image:
    """The picture of a photo subject; an unknown one shows a plain bench with its name on a card."""
    canvas = Canvas(f"{setting.job}/{subject}/{setting.text}", (120, 122, 120))
    _SCENES.get(subject, _bench)(canvas, setting, subject)
    return canvas.finished()


def _paint(setting: Setting) -> Colour:
    """The car's colour: the same in every picture of one job."""
    return _PAINTS[zlib.crc32(setting.job.encode()) % len(_PAINTS)]


def _workshop(canvas: Canvas) -> float:
    """Wall, strip lights, shelves and floor; gives the height at which the floor begins."""
    chance = canvas.chance
    floor = chance.uniform(360, 470)
    wall = chance.choice(((188, 190, 184), (160, 172, 178), (196, 186, 168)))
    canvas.box((0, 0, WIDTH, floor), wall)
    canvas.box((0, floor * 0.62, WIDTH, floor), shaded(wall, 0.72))
    for _ in range(chance.randint(2, 4)):
        left = chance.uniform(-40, 900)
        canvas.shape([(left, 24), (left + 190, 24), (left + 210, 44), (left - 20, 44)], (244, 244, 236))
    for _ in range(chance.randint(2, 5)):
        _shelf(canvas, chance.uniform(0, 900), floor)
    canvas.box((0, floor, WIDTH, HEIGHT), (124, 122, 116))
    for place in range(-6, 18):
        canvas.path(
            [(512 + (place - 6) * 60, floor), (512 + (place - 6) * 210, HEIGHT)], (108, 106, 102), 1.5
        )
    canvas.path([(0, floor + 120), (WIDTH, floor + 120)], (216, 190, 70), 7)
    return floor


def _shelf(canvas: Canvas, left: float, floor: float) -> None:
    chance = canvas.chance
    width = chance.uniform(90, 190)
    tone = chance.randint(50, 120)
    canvas.box((left, floor - 230, left + width, floor), (tone, tone + 6, tone + 10))
    for row in range(4):
        top = floor - 220 + row * 55
        for column in range(3):
            colour = (chance.randint(60, 220), chance.randint(60, 200), chance.randint(50, 190))
            x = left + 8 + column * width / 3
            canvas.box((x, top + chance.uniform(0, 18), x + width / 3 - 12, top + 46), colour)


def _vehicle_front(canvas: Canvas, setting: Setting, _: str) -> None:
    """A car seen from the front, plate readable, slip card on the hood's edge."""
    chance = canvas.chance
    floor = _workshop(canvas)
    paint = _paint(setting)
    x, y = 512 + chance.uniform(-110, 110), floor + chance.uniform(60, 110)
    canvas.shape(
        [(x - 330, y + 190), (x + 330, y + 190), (x + 370, y + 222), (x - 370, y + 222)], (78, 76, 72)
    )
    for side in (-1, 1):
        canvas.box((x + side * 262 - 40, y + 90, x + side * 262 + 40, y + 210), _TYRE, radius=12)
    canvas.shape(
        [(x - 190, y - 190), (x + 190, y - 190), (x + 262, y - 40), (x - 262, y - 40)], shaded(paint, 0.8)
    )
    canvas.shape([(x - 172, y - 178), (x + 172, y - 178), (x + 232, y - 52), (x - 232, y - 52)], _GLASS)
    canvas.box((x - 26, y - 180, x + 26, y - 152), (30, 32, 34), radius=6)
    canvas.disc((x, y - 166), 6, (12, 12, 14), edge=(90, 96, 100))
    canvas.shape([(x - 268, y - 46), (x + 268, y - 46), (x + 312, y + 50), (x - 312, y + 50)], paint)
    canvas.path([(x - 140, y - 40), (x - 168, y + 46)], shaded(paint, 0.7))
    canvas.path([(x + 140, y - 40), (x + 168, y + 46)], shaded(paint, 0.7))
    canvas.box((x - 318, y + 44, x + 318, y + 170), shaded(paint, 0.92), radius=26)
    for side in (-1, 1):
        canvas.box(
            (x + side * 246 - 58, y + 56, x + side * 246 + 58, y + 92), (226, 230, 228), radius=14, edge=_INK
        )
        canvas.disc((x + side * 236, y + 74), 13, (250, 248, 236), edge=(120, 124, 126))
    for row in range(4):
        canvas.box((x - 150, y + 58 + row * 11, x + 150, y + 63 + row * 11), (28, 30, 32), radius=2)
    canvas.box((x - 220, y + 134, x + 220, y + 162), (40, 42, 44), radius=8)
    _plate_at(canvas, (x, y + 124), 84, "BRK 417")
    _slip_card(canvas, setting, (x + chance.uniform(-30, 60), y - 8))


def _plate_at(canvas: Canvas, centre: tuple[float, float], half: float, words: str) -> None:
    x, y = centre
    canvas.box(
        (x - half, y - half * 0.28, x + half, y + half * 0.28), (238, 238, 230), radius=half * 0.06, edge=_INK
    )
    canvas.text((x, y), words, half * 0.4, _INK)


def _slip_card(canvas: Canvas, setting: Setting, centre: tuple[float, float]) -> None:
    """A white card with a two-dimensional code (ISO/IEC 18004) and the order number."""
    x, y = centre
    canvas.box((x - 82, y - 78, x + 82, y + 84), (246, 246, 242), radius=4, edge=(120, 120, 118))
    rows = list(segno.make(setting.slip or setting.job, error="m", boost_error=False).matrix)
    code = Image.new("L", (len(rows), len(rows)), 244)
    code.putdata([18 if dark else 244 for row in rows for dark in row])
    canvas.paste(code.convert("RGB"), (x - 62, y - 70, x + 62, y + 54))
    canvas.text((x, y + 68), setting.job, 15, _INK)


def _plate(canvas: Canvas, setting: Setting, _: str) -> None:
    """The licence plate from near."""
    chance = canvas.chance
    paint = _paint(setting)
    canvas.box((0, 0, WIDTH, HEIGHT), paint)
    canvas.box((0, 0, WIDTH, chance.uniform(90, 190)), shaded(paint, 1.25))
    canvas.box((-40, 600, WIDTH + 40, 720), shaded(paint, 0.45), radius=20)
    x, y = 512 + chance.uniform(-90, 90), 390 + chance.uniform(-60, 60)
    canvas.box((x - 330, y - 110, x + 330, y + 110), (52, 54, 56), radius=10)
    canvas.box((x - 316, y - 96, x + 316, y + 96), (240, 240, 232), radius=14, edge=_INK, line=4)
    canvas.text((x, y + 10), setting.text or "BRK 417", 130, (30, 44, 78))
    canvas.text((x, y - 74), "DEMONSTRATION COUNTY", 20, (30, 44, 78))
    for side in (-1, 1):
        canvas.disc((x + side * 250, y - 74), 9, _CHROME, edge=_INK)


def _dash(canvas: Canvas, _: Setting, subject: str) -> None:
    """Instrument cluster with the engine running: two dials and the row of lamps, all dark."""
    chance = canvas.chance
    canvas.box((0, 0, WIDTH, HEIGHT), (44, 46, 50))
    canvas.box((0, 0, WIDTH, chance.uniform(110, 200)), (96, 100, 104))
    shift = chance.uniform(-50, 50)
    canvas.box((70 + shift, 170, 960 + shift, 640), (26, 28, 32), radius=120, edge=(84, 88, 92), line=6)
    for centre, numbers in (((300 + shift, 400), range(9)), ((730 + shift, 400), range(0, 18, 2))):
        _dial(canvas, centre, [str(number * (1 if centre[0] < 500 else 10)) for number in numbers])
    for place, name in enumerate(("LANE", "AIR BAG", "BRAKE", "STEER", "CAMERA")):
        x = 330 + shift + place * 92
        canvas.disc((x, 590), 17, (36, 40, 44), edge=(104, 110, 114), line=2)
        canvas.text((x, 620), name, 13, (150, 156, 160))
    moment = "AFTER" if subject.endswith("after") else "BEFORE"
    canvas.text((512 + shift, 240), f"{chance.randint(11, 24)} degC   {moment}", 22, (196, 204, 208))


def _dial(canvas: Canvas, centre: tuple[float, float], numbers: list[str]) -> None:
    x, y = centre
    canvas.disc(centre, 165, (34, 37, 42), edge=(130, 136, 140), line=4)
    for place, number in enumerate(numbers):
        turn = complex(0, 1) ** ((135 + 270 * place / (len(numbers) - 1)) / 90)
        outer, inner, words = turn * 156, turn * 134, turn * 108
        canvas.path([(x + outer.real, y + outer.imag), (x + inner.real, y + inner.imag)], (226, 230, 232), 4)
        canvas.text((x + words.real, y + words.imag), number, 22, (226, 230, 232))
    # The engine idles and the car stands.
    needle = complex(0, 1) ** ((135 + (0 if numbers[1] == "20" else 27)) / 90) * 130
    canvas.path([(x, y), (x + needle.real, y + needle.imag)], (222, 84, 60), 6)
    canvas.disc(centre, 20, (70, 74, 78))


def _odometer(canvas: Canvas, setting: Setting, _: str) -> None:
    """The mileage display from near, in seven-segment digits."""
    chance = canvas.chance
    canvas.box((0, 0, WIDTH, HEIGHT), (40, 42, 46))
    canvas.box((0, chance.uniform(560, 680), WIDTH, HEIGHT), (88, 90, 94))
    canvas.arc((chance.uniform(-100, 1100), -120), 420, (0, 360), (96, 102, 106), 12)
    x, y = 512 + chance.uniform(-80, 80), 380 + chance.uniform(-70, 70)
    canvas.box((x - 370, y - 150, x + 370, y + 150), (18, 20, 22), radius=24, edge=(110, 114, 118), line=5)
    canvas.box((x - 345, y - 125, x + 345, y + 125), (150, 176, 150), radius=10)
    number, _, unit = setting.text.partition(" ")
    draw_number(canvas, number or "0", (x - 310, y - 75), 120)
    canvas.text((x + 290, y + 52), unit or "km", 44, _INK)
    canvas.text((x - 300, y - 102), "ODO", 22, _INK)


def _vin_plate(canvas: Canvas, setting: Setting, _: str) -> None:
    """A riveted metal plate with the vehicle identification number."""
    chance = canvas.chance
    paint = _paint(setting)
    canvas.box((0, 0, WIDTH, HEIGHT), shaded(paint, 0.8))
    canvas.shape([(0, 560), (WIDTH, 480 + chance.uniform(0, 80)), (WIDTH, HEIGHT), (0, HEIGHT)], _TYRE)
    x, y = 512 + chance.uniform(-40, 40), 360 + chance.uniform(-60, 60)
    canvas.box((x - 450, y - 190, x + 450, y + 190), (196, 198, 196), radius=8, edge=(90, 92, 92), line=4)
    for line in range(40):
        canvas.path([(x - 440, y - 180 + line * 9.2), (x + 440, y - 180 + line * 9.2)], (188, 190, 188), 1)
    canvas.text((x, y - 128), "VEHICLE IDENTIFICATION NUMBER", 27, _INK)
    canvas.text((x, y - 30), setting.text, 66, _INK)
    canvas.text((x, y + 56), "DEMONSTRATION VEHICLE   NOT FOR ROAD USE", 24, _INK)
    left = x - 400
    while left < x + 390:
        width = chance.choice((3, 3, 5, 8))
        canvas.box((left, y + 96, left + width, y + 158), _INK)
        left += width + chance.choice((4, 6, 9))
    for across in (-1, 1):
        for down in (-1, 1):
            canvas.disc((x + across * 424, y + down * 164), 13, _CHROME, edge=(70, 72, 72))


def _glass_mark(canvas: Canvas, setting: Setting, _: str) -> None:
    """The safety mark in the corner of the new glass, with the dotted edge band."""
    chance = canvas.chance
    canvas.box((0, 0, WIDTH, HEIGHT), (128, 150, 156))
    canvas.shape([(0, 0), (chance.uniform(300, 900), 0), (0, chance.uniform(300, 700))], (176, 192, 196))
    canvas.box((0, 590, WIDTH, HEIGHT), (26, 28, 30))
    for row in range(4):
        for column in range(44):
            canvas.disc((12 + column * 24 + row % 2 * 12, 576 - row * 22), 9 - row * 1.9, (26, 28, 30))
    x, y = 500 + chance.uniform(-130, 130), 260 + chance.uniform(-50, 50)
    etched = (232, 238, 238)
    maker, _, number = (setting.text or "GLASTRAN 43R").partition(" ")
    canvas.text((x, y - 70), maker, 74, etched)
    canvas.path([(x - 210, y - 22), (x + 210, y - 22)], etched, 4)
    canvas.text((x, y + 20), f"LAMINATED   {number}", 38, etched)
    canvas.text((x, y + 74), "LOT 0417   M 24   AS1", 34, etched)
    canvas.text((x, y + 124), "CAMERA WINDOW TYPE C", 28, etched)


def _cargo(canvas: Canvas, setting: Setting, _: str) -> None:
    """The open, empty luggage space."""
    chance = canvas.chance
    _workshop(canvas)
    paint = _paint(setting)
    x = 512 + chance.uniform(-70, 70)
    canvas.box((x - 430, 90, x + 430, 740), paint, radius=60)
    canvas.box((x - 350, 150, x + 350, 600), (58, 58, 60), radius=40)
    canvas.shape([(x - 350, 590), (x + 350, 590), (x + 220, 400), (x - 220, 400)], (92, 90, 88))
    canvas.box((x - 220, 190, x + 220, 400), (76, 76, 80), radius=18)
    for place in range(3):
        canvas.box(
            (x - 205 + place * 140, 205, x - 85 + place * 140, 385),
            (88, 88, 94),
            radius=20,
            edge=(60, 60, 64),
        )
    _plate_at(canvas, (x, 670), 90, "BRK 417")


def _wheel(canvas: Canvas, setting: Setting, _: str) -> None:
    """The steering wheel, straight ahead."""
    chance = canvas.chance
    canvas.box((0, 0, WIDTH, HEIGHT), (74, 78, 82))
    canvas.box((0, 0, WIDTH, chance.uniform(140, 240)), (150, 166, 174))
    x, y = 512 + chance.uniform(-70, 70), 430 + chance.uniform(-40, 40)
    for vent in (90, 800):
        for row in range(7):
            canvas.box((vent, 270 + row * 14, vent + 140, 276 + row * 14), (40, 42, 44), radius=3)
    canvas.disc((x, y), 290, None, edge=(24, 25, 27), line=46)
    canvas.box((x - 270, y - 34, x + 270, y + 40), (32, 34, 36), radius=30)
    canvas.box((x - 40, y, x + 40, y + 270), (32, 34, 36), radius=30)
    canvas.disc((x, y), 92, (44, 46, 50), edge=(90, 94, 98), line=4)
    canvas.box((x - 9, y - 310, x + 9, y - 262), (232, 190, 60))
    for side in (-1, 1):
        canvas.box((x + side * 180 - 30, y - 22, x + side * 180 + 30, y + 26), (120, 124, 128), radius=8)


def _bay(canvas: Canvas, setting: Setting, _: str) -> None:
    """The whole bay: car outline from the side, target stand, clear zone marked on the floor."""
    chance = canvas.chance
    floor = _workshop(canvas)
    x, y = 300 + chance.uniform(-50, 60), floor + 60
    paint = _paint(setting)
    bonnet = [(x + 250, y + 60), (x + 240, y - 10), (x + 110, y - 20)]
    canvas.shape(
        [(x - 240, y + 60), *bonnet, (x + 40, y - 100), (x - 150, y - 100), (x - 240, y - 10)], paint
    )
    canvas.shape([(x - 140, y - 88), (x + 30, y - 88), (x + 92, y - 20), (x - 200, y - 20)], _GLASS)
    for wheel in (-140, 150):
        canvas.disc((x + wheel, y + 60), 46, _TYRE)
        canvas.disc((x + wheel, y + 60), 24, _CHROME)
    stand = 760 + chance.uniform(-40, 120)
    canvas.box((stand - 6, floor - 210, stand + 6, y + 110), (60, 62, 64))
    canvas.box((stand - 130, floor - 250, stand + 130, floor - 90), (236, 236, 232), edge=_INK, line=4)
    for row in range(4):
        for column in range(6):
            if (row + column) % 2:
                left, top = stand - 120 + column * 40, floor - 244 + row * 37
                canvas.box((left, top, left + 40, top + 37), _INK)
    canvas.path([(80, y + 150), (930, y + 150), (880, floor + 20)], (226, 196, 60), 9)


def _bench(canvas: Canvas, setting: Setting, subject: str) -> None:
    """Anything else: a bench with parts, and a card that names what is meant."""
    chance = canvas.chance
    floor = _workshop(canvas)
    canvas.box((0, floor + 10, WIDTH, HEIGHT), (142, 108, 72))
    for _ in range(14):
        tone = chance.randint(60, 190)
        x, y = chance.uniform(40, 980), chance.uniform(floor + 40, 740)
        canvas.disc((x, y), chance.uniform(14, 60), (tone, tone, tone + 8), edge=(50, 52, 54), line=3)
    canvas.box((300, 300, 724, 470), (244, 242, 232), radius=6, edge=_INK)
    canvas.text((512, 356), subject.replace("_", " "), 38, _INK)
    canvas.text((512, 420), setting.text or setting.job, 34, _INK)


_SCENES: Final[dict[str, Callable[[Canvas, Setting, str], None]]] = {
    "vehicle_front_with_slip": _vehicle_front,
    "plate": _plate,
    "dash_lamps_before": _dash,
    "dash_lamps_after": _dash,
    "odometer_in": _odometer,
    "odometer_out": _odometer,
    "vin_plate": _vin_plate,
    "vin_label": _vin_plate,
    "safety_mark_photo": _glass_mark,
    "cargo_area": _cargo,
    "steering_wheel": _wheel,
    "wide_bay": _bay,
    "target_board": _bay,
}
