"""What a group's own ways of measuring leave of each limit, and which limits they can never show as met."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from rules.packs.check_library import is_plain
from rules.packs.methods import Bench, GroupMethods, UnknownUncertaintyError
from rules.packs.model import PackEdition, Procedure, Proof
from rules.packs.target_capability import target_u
from rules.quantities import Limit
from rules.rounding import to_six

# The quantities whose uncertainties, each with a factor, add up (root of the sum of squares) to a limit's.
_HALF: Final = 0.5
_ROOT2: Final = math.sqrt(2.0)
_SUMS: Final[Mapping[tuple[str, str], tuple[tuple[str, float], ...]]] = {
    ("tyre_pressures", "each"): (("tyre_pressure", 1.0),),
    ("tyre_pressures", "across_axle"): (("tyre_pressure", _ROOT2),),
    ("ride_heights", "front"): (("arch_height", 1.0),),
    ("ride_heights", "rear"): (("arch_height", 1.0),),
    ("ride_heights", "across_axle"): (("arch_height", _ROOT2),),
    ("thrust_angle", "limit"): (("rear_toe_left", _HALF), ("rear_toe_right", _HALF)),
    ("voltage_log", "limit"): (("supply_voltage", 1.0),),
    ("light_level", "limit"): (("light_level", 1.0),),
    ("film_build", "limit"): (("film_build", 1.0),),
    ("floor_survey", "flatness"): (("floor_z", _ROOT2),),
    ("mat_positions", "each_centre"): (("mat_dx", 1.0),),
    ("mat_positions", "each_turn"): (("mat_turn", 1.0),),
    ("point_position", "along"): (("point_along", 1.0),),
    ("point_position", "across"): (("point_across", 1.0),),
    ("point_position", "height"): (("point_height", 1.0),),
    ("target_pose", "height"): (("target_height", 1.0), ("stand_floor_z", 1.0)),
    ("target_pose", "bar_tilt"): (("bar_tilt", 1.0),),
}
_SOLVED: Final = ("distance", "sideways", "yaw")
# Sizes without a sign: below zero there is nothing, so only the upper limit bounds them.
_SIZES: Final = ("across_axle", "flatness", "each_centre")


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What one place leaves of a limit: ``u`` and the words, or why nothing can be shown there."""

    place: str
    u: float | None
    words: str
    never: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """One limit under the group's methods. ``never``: at one place at least it can never be shown as met."""

    name: str
    line: int
    text: str
    never: bool
    places: tuple[Left, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """One limit of one proof of one procedure."""

    edition: PackEdition
    procedure: Procedure
    proof: Proof
    argument: str
    limit: Limit

    @property
    def name(self) -> str:
        where = owner(self.proof, self.procedure, self.edition)
        return f"{where}/{self.proof.id}/{self.argument}"

    @property
    def shown(self) -> str:
        """``OV-FC-STILL sideways 0 mm ± 10 mm``, ``standing_vehicle volts between 12.0 V and 15.0 V``."""
        where = owner(self.proof, self.procedure, self.edition)
        if self.proof.check == "target_pose":
            return f"{where} {self.argument} {self.limit.text}"
        what = self.proof.id if self.argument == "limit" else f"{self.proof.id} {self.argument}"
        return f"{where} {what} {self.limit.text}"


def capabilities(edition: PackEdition, methods: GroupMethods, z: float) -> tuple[Capability, ...]:
    """Every limit that is judged with an uncertainty, in the order of the pack; a group's limit once.

    ``z``: the decision factor. Names are ``capability:`` and procedure (or group), proof and argument.
    """
    found: dict[str, Capability] = {}
    for asked in _every_limit(edition):
        if asked.name not in found:
            benches = [Bench(group=methods, place=place) for place in methods.places]
            places = tuple(_left(asked, bench, z) for bench in benches)
            found[asked.name] = Capability(
                name=f"capability:{asked.name}",
                line=asked.proof.line,
                text=f"{asked.shown}: {_told(places)}",
                never=any(place.never for place in places),
                places=places,
            )
    return tuple(found.values())


def owner(proof: Proof, procedure: Procedure, edition: PackEdition) -> str:
    """The group of a shared proof that the procedure takes as it stands, else the procedure."""
    shared = edition.groups.get(proof.group or "", ())
    lines = {way.line for one in shared for way in (one, *one.alternatives) if one.id == proof.id}
    same = proof.line in lines
    return proof.group if same and proof.group is not None else procedure.id


def _every_limit(edition: PackEdition) -> Iterator[_Asked]:
    for procedure in edition.procedures:
        for proof in procedure.proofs:
            for way in proof.alternatives or (proof,):
                for argument, limit in way.arguments.items():
                    if isinstance(limit, Limit) and _has_uncertainty(way, argument):
                        yield _Asked(
                            edition=edition, procedure=procedure, proof=way, argument=argument, limit=limit
                        )


def _has_uncertainty(proof: Proof, argument: str) -> bool:
    if is_plain(proof, argument):
        return False
    return (
        (proof.check, argument) in _SUMS
        or proof.check in ("value", "angle")
        or (proof.check == "target_pose" and argument in _SOLVED)
    )


# ------------------------------------------------------------------ one place


def _left(asked: _Asked, bench: Bench, z: float) -> Left:
    place = bench.place.name
    try:
        lower, upper = _ends(asked)
        u_low, u_high = (_u(asked, bench, 0.0 if end is None else abs(end)) for end in (lower, upper))
        method = bench.kind(_quantities(asked)[0])
    except UnknownUncertaintyError as error:
        return Left(place=place, u=None, words=str(error), never=True)
    u = to_six(max(u_low, u_high))
    guards = (to_six(z * u_low), to_six(z * u_high))
    room = _room(asked, guards)
    if room is None:
        words = f"your {method} method leaves nothing: {_too_wide(asked, guards)}"
        return Left(place=place, u=u, words=words, never=True)
    return Left(place=place, u=u, words=f"your {method} method leaves {room}", never=False)


def _quantities(asked: _Asked) -> tuple[str, ...]:
    proof = asked.proof
    if proof.check == "target_pose" and asked.argument in _SOLVED:
        return ("target_distance",)
    if proof.check in ("value", "angle"):
        return (str(proof.arguments.get("of", "")),)
    return tuple(quantity for quantity, _factor in _SUMS[proof.check, asked.argument])


def _u(asked: _Asked, bench: Bench, at: float) -> float:
    """u of the value that is held against the limit, near ``at``."""
    proof = asked.proof
    if proof.check == "target_pose" and asked.argument in _SOLVED:
        return target_u(asked.edition, asked.procedure, proof, asked.argument, bench)
    if proof.check in ("value", "angle"):
        return bench.u(_quantities(asked)[0], at)
    parts = [factor * bench.u(quantity, at) for quantity, factor in _SUMS[proof.check, asked.argument]]
    u = math.sqrt(math.fsum(part * part for part in parts))
    points = proof.arguments.get("points")
    mean_of = points if proof.check == "film_build" and isinstance(points, int) else 1
    return u / math.sqrt(mean_of)


def _ends(asked: _Asked) -> tuple[float | None, float | None]:
    """Lower and upper bound; a placard value as the middle zero; sizes have no lower one."""
    limit = asked.limit
    if limit.placard_half_width is not None:
        return -limit.placard_half_width, limit.placard_half_width
    return (None if asked.argument in _SIZES else limit.lower), limit.upper


def _room(asked: _Asked, guards: tuple[float, float]) -> str | None:
    """What is left for a reading that shall be met, in words; None where nothing is left."""
    lower, upper = _ends(asked)
    low = None if lower is None else to_six(lower + guards[0])
    high = None if upper is None else to_six(upper - guards[1])
    if asked.argument in _SIZES and high is not None and high < 0.0:
        return None
    if low is not None and high is not None and low > high:
        return None
    unit, fine = asked.limit.unit, min(guards)
    if low is None or high is None:
        least = "" if low is None else f"at least {_number(low, fine)} {unit}"
        return least or f"at most {_number(high, fine)} {unit}"
    if asked.limit.placard_half_width is not None:
        return f"placard ±{_number(high, fine)} {unit}"
    if to_six(low + high) == 0.0:
        return f"±{_number(high, fine)} {unit}"
    return f"{_number(low, fine)} {unit} to {_number(high, fine)} {unit}"


def _too_wide(asked: _Asked, guards: tuple[float, float]) -> str:
    lower, upper = _ends(asked)
    unit, fine = asked.limit.unit, min(guards)
    if lower is None or upper is None:
        return f"its guard of {_number(guards[1], fine)} {unit} is more than the limit"
    both, width = to_six(guards[0] + guards[1]), to_six(upper - lower)
    wide = f"{_number(width, fine)} {unit}"
    return f"twice its guard, {_number(both, fine)} {unit}, is more than the {wide} allowed"


def _number(value: float | None, fine: float) -> str:
    """One decimal; three where the guard would not be seen in one."""
    places = 1 if fine >= 0.1 or fine == 0.0 else 3
    return "" if value is None else f"{to_six(value) + 0.0:.{places}f}"


# ------------------------------------------------------------------ in words


def _told(places: tuple[Left, ...]) -> str:
    """One sentence: what the methods leave where they serve, then the places where nothing can be shown."""
    if not places:
        return "no place is described"
    able = [place for place in places if not place.never]
    parts = []
    for words in dict.fromkeys(place.words for place in able):
        where = [place.place for place in able if place.words == words]
        everywhere = len({place.words for place in able}) == 1
        parts.append(words if everywhere else f"at {listed(where)} {words}")
    unable = [place for place in places if place.never]
    for words in dict.fromkeys(place.words for place in unable):
        where = [place.place for place in unable if place.words == words]
        if len(where) == len(places):
            parts.append(f"{words}: this proof can never be met")
        else:
            parts.append(f"at {listed(where)} {words}: this proof can never be met there")
    return "; ".join(parts)


def listed(names: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
