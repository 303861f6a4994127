"""``python -m tests.bench.packets``: time, size and memory of a packet beside other PDF libraries.

Everything is measured in one run, each rendering in a process of its own, and told as ratios: absolute
figures say more of the machine than of the program. Processor seconds count, which other work on the
machine moves least. The photos are generated: 12 MP of noise and shapes as originals, page copies of 1008 px.
"""

import argparse
import importlib.util
import io
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from PIL import Image, ImageDraw

from jobs.intake.photo import read_photo
from jobs.intake.picture_copies import page_copy
from tests.bench.packet_engines import ENGINES, NEEDS, ROOT, Timed

COUNTS: Final = (6, 24, 96)
OURS: Final = "ours, sealed"
ATTACHED: Final = "ours, originals attached"
BUNDLED: Final = "ours, originals in the bundle"
NAIVE: Final = "weasyprint, originals in the page"
PAGE_COPY: Final = "P7 small page copy / decoding at 1/8 alone"
WHOLE_INTAKE: Final = "P7 copies and measures of intake / decoding at 1/8 alone"
# Ratio by name: goal (at most).
GOALS: Final = {
    "P1 ours sealed / reportlab unsigned, 24 photos": 7.0,
    "P2 ours sealed / rendering library with originals in the page, 24 photos": 0.40,
    "P3 with 24 originals attached / without": 1.5,
    "P3 as shipped, 24 originals beside it in the bundle / without": 1.5,
    "P4 bytes / page copies, 24 photos": 1.15,
    "P4 bytes with originals / originals and page copies": 1.05,
    "P5 memory, 96 photos / 6": 1.5,
    "P6 time, 96 photos / 24": 2.0,
    PAGE_COPY: 1.6,
    WHOLE_INTAKE: 1.6,
}
Found = dict[tuple[str, int], Timed]


def make_photos(folder: Path, count: int, originals: int, pixels: tuple[int, int] = (4032, 3024)) -> None:
    """Page copies and originals, all different."""
    drawn = random.Random(5)
    for name, many, size in (("originals", originals, pixels), ("small", count, (1008, 756))):
        place = folder / name
        place.mkdir()
        noise = Image.effect_noise((size[0] // 4, size[1] // 4), 70).resize(size).convert("RGB")
        for number in range(many):
            image = noise.copy()
            draw = ImageDraw.Draw(image)
            for _ in range(12):
                x, y = drawn.randrange(size[0]), drawn.randrange(size[1])
                colour = tuple(drawn.randrange(256) for _ in range(3))
                draw.ellipse((x, y, x + size[0] // 6, y + size[1] // 6), fill=colour)
            buffer = io.BytesIO()
            if name == "originals":
                # As a phone writes it: a picture that has Exif is what most renderers read and write anew.
                exif = Image.Exif()
                exif[0x0112] = 1
                image.save(buffer, "JPEG", quality=86, exif=exif)
            else:
                image.save(buffer, "JPEG", quality=82)
            (place / f"photo-{number:03d}.jpg").write_bytes(buffer.getvalue())


def installed(engine: str) -> bool:
    return engine not in NEEDS or importlib.util.find_spec(NEEDS[engine]) is not None


def one(engine: str, photos: int, folder: Path, salt: int) -> Timed:
    """One rendering in a fresh process."""
    words = [sys.executable, "-m", "tests.bench.packet_engines", engine, str(photos), str(folder), str(salt)]
    cache = folder / "cache"
    cache.mkdir(exist_ok=True)
    known = {**os.environ, "XDG_CACHE_HOME": str(cache)}
    made = subprocess.run(words, capture_output=True, cwd=ROOT, env=known, check=False)
    if made.returncode != 0:
        raise RuntimeError(f"{engine}: {made.stderr.decode()[-600:]}")
    return Timed(**json.loads(made.stdout.decode().strip().splitlines()[-1]))


def measure(folder: Path, counts: tuple[int, ...], repeats: int) -> Found:
    """Each engine at each number of photos, in turns; medians of the turns."""
    wanted = [
        (engine, count)
        for count in counts
        for engine in ENGINES
        if installed(engine)
        and (engine not in (ATTACHED, BUNDLED, NAIVE) or count == counts[len(counts) // 2])
    ]
    seen: dict[tuple[str, int], list[Timed]] = {key: [] for key in wanted}
    for turn in range(repeats):
        for engine, count in wanted:
            seen[engine, count].append(one(engine, count, folder, turn))
    return {key: _median(timed) for key, timed in seen.items()}


def _median(timed: list[Timed]) -> Timed:
    return Timed(
        seconds=statistics.median(item.seconds for item in timed),
        cpu_s=statistics.median(item.cpu_s for item in timed),
        size_bytes=max(item.size_bytes for item in timed),
        memory_mib=max(item.memory_mib for item in timed),
    )


def intake_ratios(folder: Path, repeats: int) -> dict[str, float]:
    """What intake does with a photo, beside the least that any decoder must do; in turns, in this process.

    Intake decodes every pixel once, because a photo that is cut off or damaged must be refused; a page copy
    alone does not need that.
    """
    photos = [path.read_bytes() for path in sorted((folder / "originals").glob("*.jpg"))[:8]]
    spent: dict[str, list[float]] = {"floor": [], PAGE_COPY: [], WHOLE_INTAKE: []}
    for data in photos * repeats:
        for name, work in (
            ("floor", _eighth),
            (PAGE_COPY, _small_copy),
            (WHOLE_INTAKE, _intake),
        ):
            used = time.process_time()
            work(data)
            spent[name].append(time.process_time() - used)
    floor = statistics.median(spent.pop("floor"))
    return {name: statistics.median(seconds) / floor for name, seconds in spent.items()}


def _eighth(data: bytes) -> None:
    with Image.open(io.BytesIO(data)) as opened:
        opened.draft(None, (opened.width // 8, opened.height // 8))
        opened.load()


def _small_copy(data: bytes) -> None:
    page_copy(data, "small")


def _intake(data: bytes) -> None:
    read_photo(data, io.BytesIO())


def ratios(found: Found, folder: Path, counts: tuple[int, ...]) -> dict[str, float]:
    """The ratios of ``GOALS`` that this run can give; a library that is not installed leaves its own out."""
    few, some, many = counts
    small = sorted((folder / "small").glob("*.jpg"))[:some]
    copies = sum(path.stat().st_size for path in small)
    originals = sum(path.stat().st_size for path in sorted((folder / "originals").glob("*.jpg"))[:some])
    ours, attached = found[OURS, some], found[ATTACHED, some]
    names = list(GOALS)
    told = {
        names[1]: ours.cpu_s / found[NAIVE, some].cpu_s,
        names[2]: attached.cpu_s / ours.cpu_s,
        names[3]: found[BUNDLED, some].cpu_s / ours.cpu_s,
        names[4]: ours.size_bytes / copies,
        names[5]: attached.size_bytes / (copies + originals),
        names[6]: found[OURS, many].memory_mib / found[OURS, few].memory_mib,
        names[7]: found[OURS, many].cpu_s / ours.cpu_s,
    }
    if ("reportlab", some) in found:
        told[names[0]] = ours.cpu_s / found["reportlab", some].cpu_s
    return {name: told[name] for name in names if name in told}


def run(
    counts: tuple[int, ...] = COUNTS, repeats: int = 3, pixels: tuple[int, int] = (4032, 3024)
) -> dict[str, float]:
    """Measures, prints the table and the ratios with their goals, and gives the ratios back."""
    with tempfile.TemporaryDirectory(prefix="packet-bench-") as name:
        folder = Path(name)
        make_photos(folder, max(counts), counts[1], pixels)
        found = measure(folder, counts, repeats)
        told = ratios(found, folder, counts) | intake_ratios(folder, repeats)
    _print(found, told)
    return told


def _print(found: Found, told: dict[str, float]) -> None:
    say = sys.stdout.write
    say(f"{'engine':36} {'photos':>6} {'s':>7} {'cpu s':>7} {'MB':>7} {'MiB':>6}\n")
    for (engine, count), item in sorted(found.items(), key=lambda pair: (pair[0][1], pair[0][0])):
        say(
            f"{engine:36} {count:6d} {item.seconds:7.2f} {item.cpu_s:7.2f} {item.size_bytes / 1e6:7.2f} "
            f"{item.memory_mib:6.0f}\n"
        )
    for engine in (name for name in ENGINES if not installed(name)):
        say(f"{engine:36} is not installed: left out\n")
    say("\n")
    for name, value in told.items():
        word = "holds" if value <= GOALS[name] else "MISSED"
        say(f"{name:76} {value:6.3f}  goal {GOALS[name]:g}  {word}\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3)
    run(repeats=parser.parse_args().repeats)


if __name__ == "__main__":
    main()
