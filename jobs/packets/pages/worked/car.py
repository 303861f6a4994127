"""Tires, ride heights, thrust line, light, and other plain readings, worked out."""

from collections.abc import Iterator

from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Sum, Worked, fig, made, term
from rules.facts import Reading
from rules.verdict import Number

AXLES = ("front", "rear")
DIFFERENCE = "difference of an axle: |left − right|, u = √(u left² + u right²)"


def tires(paper: Paper) -> Worked:
    """Limits from the placard, warm tires brought to ambient, left against right."""
    sums = [*_placard(paper), *_warm(paper), *_differences(paper, "tyre_pressure", "kPa", 1)]
    rules = [DIFFERENCE]
    if any("warm" in line.what for line in sums):
        rules.append(
            "a tire read warm: p = (p read + 101.3) × T ambient / T tire − 101.3, T = °C + 273.15 "
            "(constant volume); u by first-order propagation (JCGM 100:2008, 5.1.2)"
        )
    return Worked(rules=tuple(rules), sums=tuple(sums))


def _placard(paper: Paper) -> Iterator[Sum]:
    limit = paper.limit("each")
    half = None if limit is None else limit.placard_half_width
    if half is None:
        return
    vehicle = paper.facts.vehicle
    for axle, placard in (("front", vehicle.placard_front_kpa), ("rear", vehicle.placard_rear_kpa)):
        number = paper.numbers.get(f"{axle}_left") or paper.numbers.get(f"{axle}_right")
        if placard is None or number is None or number.lower is None or number.upper is None:
            continue
        for word, sign, bound in (("lower", "−", number.lower), ("upper", "+", number.upper)):
            yield made(
                f"{axle} axle, {word} limit", f"placard {sign} allowed",
                f"{fig(placard)} {sign} {fig(half)}", bound, 1, "kPa",
            )  # fmt: skip


def _warm(paper: Paper) -> Iterator[Sum]:
    ambient = paper.reading("temp", "ambient")
    for axle in AXLES:
        for side in ("left", "right"):
            place = f"{axle}_{side}"
            hot, tire = paper.reading("tyre_pressure", place), paper.reading("tyre_temperature", place)
            number = paper.numbers.get(place)
            if hot is None or tire is None or ambient is None or number is None or number.value is None:
                continue
            if hot.u is None or tire.u is None or ambient.u is None:
                continue
            yield from _cold(f"{axle} {side}", number, (hot, tire, ambient))


def _cold(name: str, number: Number, read: tuple[Reading, Reading, Reading]) -> Iterator[Sum]:
    hot, tire, ambient = read
    t_ambient, t_tire = ambient.value + 273.15, tire.value + 273.15
    ratio = t_ambient / t_tire
    inside = f"({fig(hot.value)} + 101.3)"
    yield made(
        f"{name}, T ambient / T tire (read warm)", "(°C + 273.15) / (°C + 273.15)",
        f"({term(ambient.value)} + 273.15) / ({term(tire.value)} + 273.15)", ratio, 6,
    )  # fmt: skip
    yield made(
        f"{name}, brought to ambient", "(p read + 101.3) × ratio − 101.3",
        f"{inside} × {fig(ratio, 6)} − 101.3", number.value, 3, "kPa",
    )  # fmt: skip
    yield made(
        f"{name}, "
        "u", "√((ratio u p)² + ((p + 101.3)/T tire × u ambient)² + ((p + 101.3) ratio/T tire × u tire)²)",
        f"√(({fig(ratio, 6)} × {fig(hot.u or 0)})² + ({inside} / {fig(t_tire, 2)} × {fig(ambient.u or 0)})² "
        f"+ ({inside} × {fig(ratio, 6)} / {fig(t_tire, 2)} × {fig(tire.u or 0)})²)",
        number.u, 4, "kPa",
    )  # fmt: skip


def _differences(paper: Paper, quantity: str, unit: str, decimals: int) -> Iterator[Sum]:
    del quantity
    for axle in AXLES:
        number = paper.numbers.get(f"{axle}_difference")
        left, right = (paper.numbers.get(f"{axle}_{side}") for side in ("left", "right"))
        if number is None or left is None or right is None or left.value is None or right.value is None:
            continue
        yield made(
            f"{axle} difference", "|left − right|", f"|{fig(left.value)} − {fig(right.value)}|",
            number.value, max(decimals, 3), unit,
        )  # fmt: skip
        if number.u and left.u and right.u:
            yield made(
                f"{axle} difference, u", "√(u left² + u right²)",
                f"√({fig(left.u)}² + {fig(right.u)}²)", number.u, 4, unit,
            )  # fmt: skip


def heights(paper: Paper) -> Worked:
    return Worked(rules=(DIFFERENCE,), sums=tuple(_differences(paper, "arch_height", "mm", 1)))


def thrust(paper: Paper) -> Worked:
    """The thrust line from the toe of both rear wheels."""
    return Worked(
        rules=(
            "thrust angle = (toe of the right rear wheel − toe of the left) / 2, positive to the left "
            "(toe-in positive); u = √(u left² + u right²) / 2",
        ),
        sums=tuple(thrust_sums(paper)),
    )


def thrust_sums(paper: Paper) -> Iterator[Sum]:
    left, right = paper.reading("rear_toe_left"), paper.reading("rear_toe_right")
    number = paper.numbers.get("thrust_angle")
    if left is None or right is None or number is None:
        return
    yield made(
        "thrust angle", "(toe right − toe left) / 2", f"({term(right.value)} − {term(left.value)}) / 2",
        number.value, 4, "deg",
    )  # fmt: skip
    if number.u and left.u and right.u:
        yield made(
            "thrust angle, u", "√(u left² + u right²) / 2", f"√({fig(left.u)}² + {fig(right.u)}²) / 2",
            number.u, 6, "deg",
        )  # fmt: skip


def light(paper: Paper) -> Worked:
    """Each point against its limits, the brightest against the darkest."""
    number = paper.numbers.get("brightest_over_darkest")
    values = [r.value for r in paper.readings if r.quantity == "light_level"]
    if number is None or not values or min(values) <= 0:
        return Worked()
    line = made(
        "brightest over darkest", "largest / smallest", f"{fig(max(values))} / {fig(min(values))}",
        number.value, 4,
    )  # fmt: skip
    return Worked(rules=("the ratio of two readings of one meter is compared plainly",), sums=(line,))


def plain(paper: Paper) -> Worked:
    """Readings that are compared as they stand: the inputs and the decision say it all."""
    del paper
    return Worked()
