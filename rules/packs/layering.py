"""How packs stand over each other: the maker's text first, and the house may only tighten it."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from rules.packs.alternatives import ANY_OF
from rules.packs.check_library import CHECKS, ArgumentSpec, Tightens
from rules.packs.errors import Fault, FaultList
from rules.packs.model import Argument, PackEdition, Procedure, Proof
from rules.packs.signed import as_judged
from rules.quantities import Limit

_STRICTER_WORDS: Final = {("indicative", "mandatory")}


def decision_factor(editions: tuple[PackEdition, ...]) -> float:
    """The largest z of the editions that apply."""
    return max(edition.z for edition in editions)


def resolve(editions: tuple[PackEdition, ...]) -> tuple[PackEdition, ...]:
    """The editions with every house rule laid over the procedure it tightens.

    A house procedure with the id of another pack's procedure is merged into that one: arguments it names
    replace the other's where they are tighter, and its further proofs are added. What would loosen is left
    as it was; :func:`layering_faults` tells its author before publishing. What the house leaves unsaid about
    waiving, refusing and earlier visits means no, as everywhere. Never raises.
    """
    houses = [edition for edition in editions if edition.house]
    if not houses:
        return editions
    others = [edition for edition in editions if not edition.house]
    taken = {procedure.id for edition in others for procedure in edition.procedures}
    merged = []
    for edition in others:
        procedures = tuple(_tightened(procedure, houses) for procedure in edition.procedures)
        merged.append(replace(edition, procedures=procedures))
    kept = [
        replace(house, procedures=tuple(one for one in house.procedures if one.id not in taken))
        for house in houses
    ]
    return tuple(merged + kept)


def layering_faults(editions: tuple[PackEdition, ...], about: PackEdition | None = None) -> tuple[Fault, ...]:
    """What forbids publishing the editions together.

    Lines are those of the pack at fault; with ``about`` a fault of another pack names that pack and its line,
    and stands on line 1.
    """
    faults = FaultList()
    for edition in editions:
        own = FaultList()
        _check_foundations(edition, editions, own)
        for other in editions:
            if edition.house and not other.house:
                _check_house(edition, other, own)
        for fault in own.ordered:
            if about is None or edition.pack == about.pack:
                faults.add(fault.line, fault.code, fault.message, found=fault.found)
            else:
                words = f"{edition.pack} {edition.edition}, line {fault.line}: {fault.message}"
                faults.add(1, fault.code, words, found=fault.found)
    return faults.ordered


def is_tighter_limit(inner: Limit, outer: Limit) -> bool:
    """True if every value ``inner`` takes is also taken by ``outer``."""
    if inner.unit != outer.unit:
        return False
    if inner.placard_half_width is not None or outer.placard_half_width is not None:
        widths = (inner.placard_half_width, outer.placard_half_width)
        return None not in widths and widths[0] <= widths[1]  # type: ignore[operator]
    return _low_inside(inner, outer) and _high_inside(inner, outer)


def loosenings(house: Proof, maker: Proof) -> tuple[tuple[str, str], ...]:
    """(key, plain words) of everything in which ``house`` asks for less than ``maker``."""
    if house.check != maker.check:
        return (("check", f"the maker's proof is {maker.check}, not {house.check}"),)
    found = _looser_ways(house, maker)
    for key, value in house.arguments.items():
        spec, theirs = CHECKS[house.check].arguments[key], maker.arguments.get(key)
        judged = as_judged(house, key, value), as_judged(maker, key, theirs)
        # As written and as judged: "between -50 mm and 8 mm" lies inside "at most 8 mm", not inside its size.
        if not _is_tighter(spec, value, theirs) or not _is_tighter(spec, judged[0] or value, judged[1]):
            found.append((key, f'"{key}" asks for less than the maker, or cannot be compared'))
    if house.waivable and not (maker.waivable and house.waive_role == maker.waive_role):
        found.append(("waivable", "the maker's text does not let this person waive it"))
    if house.fresh_for_s is not None and not _is_fresher(house.fresh_for_s, maker.fresh_for_s):
        found.append(("fresh_for", "the value may be older than the maker allows"))
    if house.earlier_visit and not maker.earlier_visit:
        found.append(("earlier_visit", "the maker does not take values of an earlier visit"))
    if house.broken_by and not set(maker.broken_by) <= set(house.broken_by):
        found.append(("broken_by", "something that spoils the maker's value is left out"))
    return tuple(found)


def _looser_ways(house: Proof, maker: Proof) -> list[tuple[str, str]]:
    """Ways that are none of the maker's: leaving one of his out asks for more, a new one for less."""
    return [
        (ANY_OF, f"the way {way.check} is none of the maker's, or asks for less")
        for way in house.alternatives
        if not any(not loosenings(way, theirs) for theirs in maker.alternatives)
    ]


def _tightened(procedure: Procedure, houses: list[PackEdition]) -> Procedure:
    for house in houses:
        mine = house.procedure(procedure.id)
        if mine is None:
            continue
        own = {proof.id: proof for proof in mine.proofs}
        proofs = [_merged(own[proof.id], proof) if proof.id in own else proof for proof in procedure.proofs]
        known = {proof.id for proof in procedure.proofs}
        proofs += [proof for proof in mine.proofs if proof.id not in known]
        procedure = replace(
            procedure,
            proofs=tuple(proofs),
            refusable=procedure.refusable and mine.refusable,
        )
    return procedure


def _merged(house: Proof, maker: Proof) -> Proof:
    if house.check != maker.check:
        return maker
    loose = {key for key, _words in loosenings(house, maker)}
    arguments = dict(maker.arguments)
    arguments.update({key: value for key, value in house.arguments.items() if key not in loose})
    keeps_waiver = maker.waivable and house.waivable and "waivable" not in loose
    fresher = house.fresh_for_s is not None and "fresh_for" not in loose
    return replace(
        maker,
        arguments=arguments,
        waivable=keeps_waiver,
        waive_role=maker.waive_role if keeps_waiver else None,
        fresh_for_s=house.fresh_for_s if fresher else maker.fresh_for_s,
        broken_by=tuple(dict.fromkeys((*maker.broken_by, *house.broken_by))),
        earlier_visit=maker.earlier_visit and house.earlier_visit,
        cite=maker.cite,
        alternatives=maker.alternatives if ANY_OF in loose else _ways(house, maker),
    )


def _ways(house: Proof, maker: Proof) -> tuple[Proof, ...]:
    """Each way of the house laid over the maker's way that it tightens: what it leaves unsaid stays asked."""
    found = []
    for way in house.alternatives:
        theirs = next((one for one in maker.alternatives if not loosenings(way, one)), None)
        if theirs is not None:
            found.append(_merged(way, theirs))
    return tuple(found)


def _check_house(house: PackEdition, other: PackEdition, faults: FaultList) -> None:
    for mine in house.procedures:
        theirs = other.procedure(mine.id)
        if theirs is None:
            continue
        if mine.refusable and not theirs.refusable:
            words = f"{mine.id}: {other.pack} does not let it be refused"
            faults.add(mine.line, "house_loosens", words, found="refusable: yes")
        by_id = {proof.id: proof for proof in theirs.proofs}
        for proof in mine.proofs:
            if proof.id in by_id:
                for key, words in loosenings(proof, by_id[proof.id]):
                    found = proof.arguments.get(key)
                    shown = f"{key}: {found.text}" if isinstance(found, Limit) else key
                    faults.add(proof.line, "house_loosens", f"{mine.id}, {proof.id}: {words}", found=shown)


def _check_foundations(edition: PackEdition, editions: tuple[PackEdition, ...], faults: FaultList) -> None:
    for name, at_least in edition.builds_on:
        if not any(other.pack == name and other.edition >= at_least for other in editions):
            words = f"{edition.pack} builds on {name} {at_least} or later"
            line = edition.lines.get("builds_on", 1)
            faults.add(line, "foundation_missing", words, found="no such pack in force beside it")
    for trigger in edition.triggers:
        for called in trigger.procedures:
            if all(other.procedure(called) is None for other in editions):
                words = f"{trigger.id} calls for {called}, which stands nowhere"
                faults.add(trigger.line, "unknown_procedure", words, found=called)


def _low_inside(inner: Limit, outer: Limit) -> bool:
    if outer.lower is None:
        return True
    if inner.lower is None:
        return False
    return inner.lower > outer.lower or (
        inner.lower == outer.lower and (outer.lower_included or not inner.lower_included)
    )


def _high_inside(inner: Limit, outer: Limit) -> bool:
    if outer.upper is None:
        return True
    if inner.upper is None:
        return False
    return inner.upper < outer.upper or (
        inner.upper == outer.upper and (outer.upper_included or not inner.upper_included)
    )


def _is_fresher(house_s: float, maker_s: float | None) -> bool:
    """Without a time the maker's value serves the same day only, which no number of hours is inside of."""
    return maker_s is not None and house_s <= maker_s


def _is_tighter(spec: ArgumentSpec, house: Argument, maker: Argument | None) -> bool:
    if maker is None:
        return not spec.open_when_absent
    if house == maker:
        return True
    if isinstance(house, Limit) and isinstance(maker, Limit):
        return is_tighter_limit(house, maker)
    if isinstance(house, tuple) and isinstance(maker, tuple):
        compare = _COMPARE_WORDS.get(spec.tightens)
        return compare is not None and compare(set(house), set(maker))
    return (maker, house) in _STRICTER_WORDS or _is_tighter_number(spec.tightens, house, maker)


def _is_tighter_number(tightens: Tightens, house: Argument, maker: Argument) -> bool:
    if not isinstance(house, int | float) or not isinstance(maker, int | float):
        return False
    return (tightens == "smaller" and house <= maker) or (tightens == "larger" and house >= maker)


_COMPARE_WORDS: Final[dict[Tightens, Callable[[set[object], set[object]], bool]]] = {
    "more": lambda house, maker: house >= maker,
    "fewer": lambda house, maker: house <= maker,
}
