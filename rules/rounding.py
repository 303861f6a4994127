"""The one rounding of computed numbers, so that every home of the judgement agrees to the last digit."""


def to_six(value: float) -> float:
    """``value`` rounded to six decimals of its unit, never minus zero.

    Applied once to each computed number, just before it is compared and stored: last-bit differences between
    mathematical libraries vanish, and no decision is taken on a coarser number.
    """
    return round(value, 6) + 0.0
