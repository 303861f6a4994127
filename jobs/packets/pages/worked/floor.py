"""The floor of a bay, worked out from the points of its survey."""

import math
from collections.abc import Iterator

from jobs.packets.pages import times
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Sum, Table, Worked, fig, made, term
from rules.facts import FloorSurvey
from rules.science.months import add_months
from rules.science.plane import Plane, fit_plane

RULES = (
    "least-squares plane z = a + b x + c y (reference plane of ISO 12781-1; never smaller than the minimum "
    "zone of ISO 1101); with x, y, z counted from their means: b = (Sxz Syy − Syz Sxy) / (Sxx Syy − Sxy²), "
    "c = (Syz Sxx − Sxz Sxy) / (Sxx Syy − Sxy²)",
    "slope = atan(√(b² + c²) / 1000), b and c in mm per m; flatness = largest − smallest residual, "
    "u = √2 × u of a height; standard deviation with divisor n − 3",
)


def floor(paper: Paper) -> Worked:
    survey = next((item for item in paper.records if isinstance(item, FloorSurvey)), None)
    if survey is None or "slope" not in paper.numbers:
        return Worked()
    try:
        plane = fit_plane(survey.points)
    except ValueError:
        return Worked()
    return Worked(
        rules=RULES,
        tables=(_points(survey, plane),),
        sums=tuple(_sums(paper, survey, plane)),
        after=(_age(paper, survey),),
    )


def _points(survey: FloorSurvey, plane: Plane) -> Table:
    rows = [
        (fig(x / 1000), fig(y / 1000), fig(z), fig(z - residual, 4), fig(residual, 4))
        for (x, y, z), residual in zip(survey.points, plane.residuals, strict=True)
    ]
    u = "unknown" if survey.u_z is None else f"{survey.u_z:g} mm"
    caption = f"Points of the survey of bay {survey.bay}; u of a height {u}, instrument {survey.instrument}"
    return Table(
        caption=caption, head=("x, m", "y, m", "z, mm", "Plane, mm", "Residual, mm"), rows=tuple(rows)
    )


def _sums(paper: Paper, survey: FloorSurvey, plane: Plane) -> Iterator[Sum]:
    points = [(x / 1000, y / 1000, z) for x, y, z in survey.points]
    n = len(points)
    mx, my, mz = (math.fsum(p[i] for p in points) / n for i in range(3))
    s = {
        name: math.fsum((p[i] - m) * (p[j] - k) for p in points)
        for name, (i, m, j, k) in {
            "xx": (0, mx, 0, mx), "xy": (0, mx, 1, my), "yy": (1, my, 1, my),
            "xz": (0, mx, 2, mz), "yz": (1, my, 2, mz),
        }.items()
    }  # fmt: skip
    for name, i, j in (("xx", 0, 0), ("xy", 0, 1), ("yy", 1, 1), ("xz", 0, 2), ("yz", 1, 2)):
        numbers = " + ".join(f"{term(p[i])} × {term(p[j])}" for p in points)
        means = (mx, my, mz)
        yield made(
            f"S{name}", f"Σ {name[0]} {name[1]} − n × mean {name[0]} × mean {name[1]}",
            f"{numbers} − {n} × {term(means[i], 6)} × {term(means[j], 6)}", s[name], 3,
        )  # fmt: skip
    t = {name: term(value, 5) for name, value in s.items()}
    bottom = f"({t['xx']} × {t['yy']} − {t['xy']}²)"
    b, c = plane.b * 1000, plane.c * 1000
    yield made("b", "(Sxz Syy − Syz Sxy) / (Sxx Syy − Sxy²)",
               f"({t['xz']} × {t['yy']} − {t['yz']} × {t['xy']}) / {bottom}", b, 4, "mm/m")  # fmt: skip
    yield made("c", "(Syz Sxx − Sxz Sxy) / (Sxx Syy − Sxy²)",
               f"({t['yz']} × {t['xx']} − {t['xz']} × {t['xy']}) / {bottom}", c, 4, "mm/m")  # fmt: skip
    yield made("a", "mean z − b × mean x − c × mean y",
               f"{term(mz, 5)} − {term(b, 5)} × {term(mx, 5)} − {term(c, 5)} × "
               f"{term(my, 5)}", plane.a, 3, "mm")  # fmt: skip
    yield made("slope", "atan(√(b² + c²) / 1000)",
               f"atan(√({term(b, 5)}² + {term(c, 5)}²) / 1000)", paper.value("slope"), 4, "deg")  # fmt: skip
    yield from _uncertain(paper, survey, (b, c), s)
    low, high = min(plane.residuals), max(plane.residuals)
    yield made("flatness", "largest − smallest residual", f"{term(high, 4)} − {term(low, 4)}",
               paper.value("flatness"), 3, "mm")  # fmt: skip
    squares = " + ".join(f"{term(r, 4)}²" for r in plane.residuals)
    yield made("standard deviation", "√(Σ residual² / (n − 3))", f"√(({squares}) / ({n} − 3))",
               paper.value("standard_deviation"), 3, "mm")  # fmt: skip


def _uncertain(
    paper: Paper, survey: FloorSurvey, rise: tuple[float, float], s: dict[str, float]
) -> Iterator[Sum]:
    slope, flatness = paper.numbers["slope"], paper.numbers.get("flatness")
    if not survey.u_z or not slope.u:
        return
    b, c = rise
    long = math.hypot(b, c)
    if long > 0:
        t = {name: term(value, 5) for name, value in s.items()}
        yield made(
            "slope, u",
            "u z √((b² Syy − 2 b c Sxy + c² Sxx) / (Sxx Syy − Sxy²)) / √(b² + c²) / 1000 × 57.29578",
            f"{fig(survey.u_z)} × √(({term(b, 5)}² × {t['yy']} − 2 × {term(b, 5)} × {term(c, 5)} × "
            f"{t['xy']} + "
            f"{term(c, 5)}² × {t['xx']}) / ({t['xx']} × {t['yy']} − {t['xy']}²)) / √({term(b, 5)}² "
            f"+ {term(c, 5)}²) "
            "/ 1000 × 57.29578",
            slope.u, 5, "deg",
        )  # fmt: skip
    if flatness is not None and flatness.u:
        yield made("flatness, u", "√2 × u z", f"√(2) × {fig(survey.u_z)}", flatness.u, 4, "mm")


def _age(paper: Paper, survey: FloorSurvey) -> Table:
    """Until which local day the survey may be used, and when it was."""
    place = paper.context.place
    asked = None if paper.proof is None else paper.proof.arguments.get("not_older_than")
    months = (
        min(math.floor(asked), survey.valid_months) if isinstance(asked, int | float) else survey.valid_months
    )
    made_on = place.local_date(survey.surveyed.low)
    session = paper.session
    used = "no session" if session is None else times.day_text(place.local_date(session.started.high))
    row = (times.day_text(made_on), f"{months} months", times.day_text(add_months(made_on, months)), used)
    return Table(
        caption="Age of the survey: day made + months, cut to the end of the month, local days",
        head=("Surveyed", "May be used for", "Through", "Session on"),
        rows=(row,),
    )
