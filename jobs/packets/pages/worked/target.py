"""Where a target stands, worked out: the distances the solution gives, how well it is known, thrust line."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from jobs.packets.pages.worked.car import thrust_sums
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Sum, Table, Worked, fig, made, term, total
from rules.display import tape_words

RULES: Final = (
    "axes: x ahead from the middle of the marks measured from, y to the left, turn anticlockwise (ISO 8855); "
    "mark A left at y = +T/2, mark B right at y = −T/2; rear marks at x = −W",
    "ends of the bar: left (x − b/2 sin turn, y + b/2 cos turn), right (x + b/2 sin turn, y − b/2 cos turn)",
    "least squares (Gauss-Newton), each distance weighed by 1/u²: x, y and turn make the sum of "
    "(residual/u)² "
    "smallest; at that place the three sums of k × residual / u² are zero",
    "kx = dx / d, ky = dy / d (mm per mm), kt (mm per mrad): how much a distance grows with x, y and turn; "
    "N: sums of products of these, D: their determinant, giving the variances of x, y and turn by cofactors",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One tape from a mark to an end of the bar at the solution: lengths in mm, ``kt`` in mm per mrad."""

    place: str
    read: float
    u: float
    dx: float
    dy: float
    kx: float
    ky: float
    kt: float

    @property
    def computed(self) -> float:
        return math.hypot(self.dx, self.dy)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The solved place (mm, degrees) with the lengths it rests on."""

    x: float
    y: float
    turn: float
    bar: float
    front: float
    rear: float | None
    wheelbase: float | None
    from_front: bool


def target(paper: Paper) -> Worked:
    """The check of the solution, its uncertainty, sideways and yaw against the thrust line, the height."""
    solved = _solution(paper)
    lines = [] if solved is None else _lines(paper, solved)
    tables: tuple[Table, ...] = ()
    sums: list[Sum] = []
    rules: list[str] = []
    if solved is not None and lines:
        rules += RULES
        tables = (_solved_table(solved), _lines_table(lines), _factors(lines))
        sums += _agreement(paper, lines)
        sums += _uncertainty(paper, lines)
        sums += thrust_sums(paper)
        sums += _against_line(paper, solved)
    sums += _height(paper)
    return Worked(rules=tuple(rules), tables=tables, sums=tuple(sums))


def _solution(paper: Paper) -> Solution | None:
    x, y, turn = (paper.value(name) for name in ("distance", "across_body", "turn_to_body"))
    bar, front = paper.value("bar_length"), paper.value("front_marks_apart")
    if x is None or y is None or turn is None or bar is None or front is None:
        return None
    return Solution(
        x=x,
        y=y,
        turn=turn,
        bar=bar,
        front=front,
        rear=paper.value("rear_marks_apart"),
        wheelbase=paper.value("wheelbase"),
        from_front=paper.value("measured_from_front") != 0.0,
    )


def _mark(place: str, solved: Solution) -> tuple[float, float] | None:
    """Where the tape starts: d_ at the marks measured from, b_ at those of the other axle."""
    if place.startswith("d"):
        near = solved.front if solved.from_front else (solved.rear or solved.front)
        at_x = 0.0
    else:
        if solved.wheelbase is None:
            return None
        far = solved.rear if solved.from_front else solved.front
        near = far if far is not None else solved.front
        at_x = -solved.wheelbase if solved.from_front else solved.wheelbase
    return at_x, near / 2 if place[2] == "L" else -near / 2


def _lines(paper: Paper, solved: Solution) -> list[Line]:
    found = []
    sine, cosine = math.sin(math.radians(solved.turn)), math.cos(math.radians(solved.turn))
    for number in paper.finding.outcome.numbers:
        place = number.name.removeprefix("read_")
        mark = _mark(place, solved) if number.name.startswith("read_") else None
        if mark is None or number.value is None or not number.u:
            continue
        half = solved.bar / 2 if place[3] == "L" else -solved.bar / 2
        dx = solved.x - half * sine - mark[0]
        dy = solved.y + half * cosine - mark[1]
        long = math.hypot(dx, dy)
        by_turn = (dx * -half * cosine + dy * -half * sine) / long / 1000
        found.append(
            Line(
                place=place,
                read=number.value,
                u=number.u,
                dx=dx,
                dy=dy,
                kx=dx / long,
                ky=dy / long,
                kt=by_turn,
            )
        )
    return found


def _solved_table(solved: Solution) -> Table:
    cells = [
        ("x, distance", fig(solved.x, 6), "mm"),
        ("y, across the body", fig(solved.y, 6), "mm"),
        ("turn, against the body", fig(solved.turn, 6), "deg"),
        ("b, length of the bar", fig(solved.bar), "mm"),
        ("T, marks of the front axle apart", fig(solved.front), "mm"),
    ]
    if solved.rear is not None:
        cells.append(("T rear, marks of the rear axle apart", fig(solved.rear), "mm"))
    if solved.wheelbase is not None:
        cells.append(("W, wheelbase", fig(solved.wheelbase), "mm"))
    start = "front" if solved.from_front else "rear"
    caption = f"Solved and given; x is measured from the marks of the {start} axle"
    return Table(caption=caption, head=("Quantity", "Value", "Unit"), rows=tuple(cells), wide="52%")


def _lines_table(lines: list[Line]) -> Table:
    return Table(
        caption="The distances that the solution gives, √(dx² + dy²), against those read",
        head=("Tape", "dx", "dy", "Computed", "Read", "Residual", "u"),
        rows=tuple(
            (
                f"{tape_words(line.place)} ({line.place.replace('_', ' ')})",
                fig(line.dx, 4),
                fig(line.dy, 4),
                fig(line.computed, 4),
                fig(line.read),
                fig(line.read - line.computed, 4),
                fig(line.u),
            )
            for line in lines
        ),
        wide="32%",
    )


def _factors(lines: list[Line]) -> Table:
    return Table(
        caption="How each distance grows with x, y (mm per mm) and turn (mm per mrad)",
        head=("Tape", "kx", "ky", "kt"),
        rows=tuple(
            (line.place.replace("_", " "), fig(line.kx, 6), fig(line.ky, 6), fig(line.kt, 4))
            for line in lines
        ),
    )


def _agreement(paper: Paper, lines: list[Line]) -> Iterator[Sum]:
    """Do the readings agree: chi-square of the residuals against its 95 % point."""
    squares = " + ".join(f"({fig(line.read - line.computed, 5)} / {fig(line.u)})²" for line in lines)
    value = paper.value("chi_squared")
    if value is None:
        return
    yield made("do the readings agree", "χ² = Σ (residual / u)²", squares, value, 4)


def _normal(lines: list[Line]) -> dict[str, float]:
    """The six different sums of the normal equations, by the factors' names."""
    pairs = {
        "xx": ("kx", "kx"), "xy": ("kx", "ky"), "xt": ("kx", "kt"),
        "yy": ("ky", "ky"), "yt": ("ky", "kt"), "tt": ("kt", "kt"),
    }  # fmt: skip
    return {
        name: math.fsum(getattr(line, a) * getattr(line, b) / (line.u * line.u) for line in lines)
        for name, (a, b) in pairs.items()
    }


def _uncertainty(paper: Paper, lines: list[Line]) -> Iterator[Sum]:
    """The three variances of the independent part by cofactors, then the tape's scale on top."""
    n = _normal(lines)
    for name, value in n.items():
        a, b = (f"k{letter}" for letter in name)
        numbers = " + ".join(
            f"{term(getattr(line, a), 7)} × {term(getattr(line, b), 7)} / {fig(line.u)}²" for line in lines
        )
        yield made(f"N{name}", f"Σ {a} {b} / u²", numbers, value, 6)
    det = _determinant(n)
    if det <= 0:
        return
    t = {name: term(value, 8) for name, value in n.items()}
    yield made(
        "D",
        "Nxx (Nyy Ntt − Nyt²) − Nxy (Nxy Ntt − Nyt Nxt) + Nxt (Nxy Nyt − Nyy Nxt)",
        f"{t['xx']} × ({t['yy']} × {t['tt']} − {t['yt']}²) − {t['xy']} × ({t['xy']} × {t['tt']} − "
        f"{t['yt']} × {t['xt']}) + {t['xt']} × ({t['xy']} × {t['yt']} − {t['yy']} × {t['xt']})",
        det, 5,
    )  # fmt: skip
    shared = _scale(paper, lines, n, det)
    for name, number, pair, factor, unit in _UNKNOWNS:
        first, second, mixed = pair
        own = math.sqrt((n[first] * n[second] - n[mixed] * n[mixed]) / det) * factor
        numbers = f"√(({t[first]} × {t[second]} − {t[mixed]}²) / {fig(det, 7)})"
        if factor != 1.0:
            numbers += " × 0.0572958"
        rule = f"√((N{first} N{second} − N{mixed}²) / D)" + (" in deg" if factor != 1.0 else "")
        yield made(f"u of {name}, independent part", rule, numbers, own, 4, unit)
        known = paper.numbers.get(number)
        if known is not None and known.u is not None:
            yield made(
                f"u of {name}", "√(independent² + (from the tape's scale)²)",
                f"√({fig(own, 6)}² + {fig(abs(shared[name]) * factor, 6)}²)", known.u, 4, unit,
            )  # fmt: skip


# Name in print, number of the verdict, names of the cofactor, factor to the unit, unit.
_UNKNOWNS: Final = (
    ("x", "distance", ("yy", "tt", "yt"), 1.0, "mm"),
    ("y", "across_body", ("xx", "tt", "xt"), 1.0, "mm"),
    ("turn", "turn_to_body", ("xx", "yy", "xy"), math.degrees(0.001), "deg"),
)


def _determinant(n: dict[str, float]) -> float:
    return (
        n["xx"] * (n["yy"] * n["tt"] - n["yt"] * n["yt"])
        - n["xy"] * (n["xy"] * n["tt"] - n["yt"] * n["xt"])
        + n["xt"] * (n["xy"] * n["yt"] - n["yy"] * n["xt"])
    )


def _scale(paper: Paper, lines: list[Line], n: dict[str, float], det: float) -> dict[str, float]:
    """What the scale's uncertainty, the same for all distances, does to x, y and turn (mm, mm, mrad)."""
    share = (paper.value("tape_scale_u") or 0.0) / 1000
    g = {
        name: math.fsum(getattr(line, f"k{name}") * line.read / (line.u * line.u) for line in lines)
        for name in "xyt"
    }
    rows = {
        "x": (
            n["yy"] * n["tt"] - n["yt"] * n["yt"],
            n["xt"] * n["yt"] - n["xy"] * n["tt"],
            n["xy"] * n["yt"] - n["xt"] * n["yy"],
        ),
        "y": (
            n["xt"] * n["yt"] - n["xy"] * n["tt"],
            n["xx"] * n["tt"] - n["xt"] * n["xt"],
            n["xy"] * n["xt"] - n["xx"] * n["yt"],
        ),
        "turn": (
            n["xy"] * n["yt"] - n["xt"] * n["yy"],
            n["xy"] * n["xt"] - n["xx"] * n["yt"],
            n["xx"] * n["yy"] - n["xy"] * n["xy"],
        ),
    }
    return {name: (a * g["x"] + b * g["y"] + c * g["t"]) / det * share for name, (a, b, c) in rows.items()}


def _against_line(paper: Paper, solved: Solution) -> Iterator[Sum]:
    """Sideways position and yaw: from the middle of the car, or from the thrust line."""
    line, sideways, yaw = (paper.numbers.get(name) for name in ("thrust_angle", "sideways", "yaw"))
    if line is None or line.value is None:
        return
    arm = solved.x + (solved.wheelbase or 0.0) if solved.from_front else solved.x
    arm_text = f"({fig(solved.x, 4)} + {fig(solved.wheelbase or 0.0)})" if solved.from_front else fig(arm, 4)
    angle = f"tan({fig(line.value)}°)"
    reach = "(x + W)" if solved.from_front else "x"
    if sideways is not None and sideways.value is not None:
        yield made(
            "sideways from the thrust line", f"y − {reach} tan(thrust angle)",
            f"{term(solved.y, 5)} − {arm_text} × {angle}", sideways.value, 3, "mm",
        )  # fmt: skip
        own = paper.numbers.get("across_body")
        if own is not None and own.u and line.u and sideways.u:
            yield made(
                "sideways, u", f"√(u y² + ({reach} u thrust / 57.29578)²)",
                f"√({fig(own.u)}² + ({arm_text} × {fig(line.u)} / 57.29578)²)", sideways.u, 4, "mm",
            )  # fmt: skip
    if yaw is not None and yaw.value is not None:
        yield made(
            "yaw against the thrust line", "turn − thrust angle",
            f"{term(solved.turn, 6)} − {term(line.value)}", yaw.value, 4, "deg",
        )  # fmt: skip
        own = paper.numbers.get("turn_to_body")
        if own is not None and own.u and line.u and yaw.u:
            yield made(
                "yaw, u", "√(u turn² + u thrust²)", f"√({fig(own.u)}² + {fig(line.u)}²)", yaw.u, 5, "deg"
            )  # fmt: skip


def _height(paper: Paper) -> Iterator[Sum]:
    """The tape's height brought to the plane the wheels stand on."""
    number, step, tape = (
        paper.numbers.get("height"),
        paper.value("floor_step"),
        paper.reading("target_height"),
    )
    stand = paper.reading("stand_floor_z")
    if number is None or number.value is None or step is None or tape is None:
        return
    yield from _wheel_plane(paper, step)
    yield made(
        "height above the wheels' plane", "height by tape + step of the floor",
        f"{fig(tape.value)} + {term(step)}", number.value, 3, "mm",
    )  # fmt: skip
    if number.u and tape.u and stand is not None and stand.u and not _pads(paper):
        yield made(
            "height, u", "√(u tape² + u floor²)", f"√({fig(tape.u)}² + {fig(stand.u)}²)", number.u, 4, "mm"
        )  # fmt: skip


def _pads(paper: Paper) -> dict[str, float]:
    return {r.place: r.value for r in paper.readings if r.quantity == "floor_z"}


def _wheel_plane(paper: Paper, step: float) -> Iterator[Sum]:
    """Floor at the stand less the plane through the four wheels at the target's nominal distance.

    For four pads in a rectangle the fitted plane is: mean + (front mean − rear mean)/W × lever; the left and
    right halves cancel at y = 0.
    """
    pads, stand = _pads(paper), paper.reading("stand_floor_z")
    limit, wheelbase = paper.limit("distance"), paper.facts.vehicle.wheelbase_mm
    names = ("front_left", "front_right", "rear_left", "rear_right")
    if stand is None or limit is None or not wheelbase or any(name not in pads for name in names):
        return
    ends = [end for end in (limit.lower, limit.upper) if end is not None]
    if not ends:
        return
    nominal = math.fsum(ends) / len(ends)
    argument = None if paper.proof is None else paper.proof.arguments.get("measured_from")
    lever = nominal + wheelbase / 2 if argument == "front_axle_marks" else nominal - wheelbase / 2
    mean = total(pads[name] for name in names)
    front, rear = (total((pads[f"{axle}_left"], pads[f"{axle}_right"])) for axle in ("front", "rear"))
    yield made(
        "step of the floor at the stand",
        "floor at the stand − (mean of the four wheels + (front mean − rear mean) / W × lever)",
        f"{term(stand.value)} − (({mean}) / 4 + (({front}) / 2 − ({rear}) / 2) / {fig(wheelbase)} "
        f"× {fig(lever)})",
        step, 4, "mm",
    )  # fmt: skip
