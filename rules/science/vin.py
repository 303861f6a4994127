"""Vehicle identification numbers: normalising, wrong characters, check digit (49 CFR 565.15, ISO 3779)."""

from dataclasses import dataclass
from typing import Final, Literal

LETTER_VALUES: Final = dict(
    zip(
        "ABCDEFGHJKLMNPRSTUVWXYZ",
        (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9),
        strict=True,
    )
)
WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
LENGTH: Final = 17


@dataclass(frozen=True, slots=True, kw_only=True)
class VinCheck:
    """What the arithmetic says of one VIN; a right check digit does not prove the right VIN.

    Attributes:
        vin: normalised.
        state: ``valid``, ``mismatch`` of the check digit, or ``malformed``.
        products, total, remainder: as in 49 CFR 565.15(c); empty and None where malformed.
        calculated, printed: the check digit as calculated and as it stands in position 9.
        wrong_positions: (position from 1, character) of what never occurs in a VIN (I, O, Q, others).
    """

    vin: str
    state: Literal["valid", "mismatch", "malformed"]
    products: tuple[int, ...] = ()
    total: int | None = None
    remainder: int | None = None
    calculated: str = ""
    printed: str = ""
    wrong_positions: tuple[tuple[int, str], ...] = ()


def normalise(text: str) -> str:
    """Without blanks, ASCII letters in capitals; look-alikes of other scripts stay what they are."""
    return "".join(mark.upper() if mark.isascii() else mark for mark in text if not mark.isspace())


def character_value(mark: str) -> int | None:
    """Value of one character by Table III of 49 CFR 565.15; None for one that never occurs."""
    if mark.isascii() and mark.isdigit():
        return int(mark)
    return LETTER_VALUES.get(mark)


def check_vin(text: str) -> VinCheck:
    """The check digit of 49 CFR 565.15(c): sum of products modulo 11, 10 written X, against position 9."""
    vin = normalise(text)
    values = [character_value(mark) for mark in vin]
    wrong = tuple(
        (place, mark) for place, (mark, value) in enumerate(zip(vin, values, strict=True), 1) if value is None
    )
    if len(vin) != LENGTH or wrong:
        return VinCheck(vin=vin, state="malformed", wrong_positions=wrong)
    products = tuple((value or 0) * weight for value, weight in zip(values, WEIGHTS, strict=True))
    total = sum(products)
    remainder = total % 11
    calculated = "X" if remainder == 10 else str(remainder)
    return VinCheck(
        vin=vin,
        state="valid" if calculated == vin[8] else "mismatch",
        products=products,
        total=total,
        remainder=remainder,
        calculated=calculated,
        printed=vin[8],
    )


def refused_by_rule(check: VinCheck, rule: Literal["required", "advisory"]) -> bool:
    """Whether it cannot be this car's: malformed, or a wrong check digit where the market requires one."""
    return check.state == "malformed" or (check.state == "mismatch" and rule == "required")
