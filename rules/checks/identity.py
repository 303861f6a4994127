"""identity_agrees: typed, photographed and scanned VINs of one car must agree."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.photos import photo_faults, setting_of
from rules.checks.sentences import begin, names_argument
from rules.facts import Explanation, IdentityReading, JobFacts, Record, Scan, live
from rules.rounding import to_six
from rules.scans import first_scan
from rules.science.vin import VinCheck, check_vin, normalise, refused_by_rule
from rules.verdict import MET, Outcome

# An explanation about a module's foreign VIN names no trouble code but this word, or nothing.
ABOUT_VIN: Final = ("", "vin")
PHOTO_WAYS: Final = {
    "vin_plate_photo": "the photo of the VIN plate",
    "vin_label_photo": "the photo of the label",
}
_WORDS: Final = {
    "typed": "typed at intake",
    "scan": "read by the scan device",
    "before_scan": "shown by the modules in the scan before the repair",
    "final_scan": "shown by the modules in the final scan",
    **{way: f"on {words}" for way, words in PHOTO_WAYS.items()},
}


_HOW_TO_READ: Final = {
    "typed": "Type the VIN from the order.",
    "vin_plate_photo": "Photograph the VIN plate and read the VIN from it.",
    "vin_label_photo": "Photograph the label and read the VIN from it.",
    "before_scan": "File the scan before the repair with the VIN that its modules show.",
    "final_scan": "Scan all modules after the work, with the VIN that they show.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class VinSeen:
    """One reading of the VIN: where it stands, and whether its module is a replaced used part."""

    vin: str
    where: str
    record: Record | None
    module: str | None = None
    is_used_part: bool = False


def identity_agrees(context: CheckContext) -> Outcome:
    """Argument ``of``: the readings that must exist (typed, vin_plate_photo, before_scan, final_scan ...).

    All readings on record that are not set aside must be equal, the module VINs of all scans among them. A
    module with another VIN is let pass only where it is recorded as a replaced used part and an explanation
    covers it. Reason codes: identity_conflict, identity_unproven, and those of the photo it was read from.
    """
    draft = begin(context, "All readings of the VIN must agree")
    facts = context.facts
    typed = check_vin(facts.vehicle.vin)
    _judge_arithmetic(draft, facts, typed)
    seen = [VinSeen(vin=typed.vin, where="typed at intake", record=None), *_readings(facts), *_scanned(facts)]
    for entry in seen:
        if entry.record is not None:
            draft.rests_on(entry.record)
        if entry.vin != typed.vin:
            _differs(draft, facts, typed.vin, entry)
    for name in names_argument(context, "of"):
        _asked_for(context, draft, name)
    if draft.tally.verdict == MET:
        draft.say(f"All {len(seen)} readings of the VIN on record agree: {typed.vin}.")
    return draft.outcome()


def _judge_arithmetic(draft: Draft, facts: JobFacts, typed: VinCheck) -> None:
    rule = facts.vehicle.check_digit_rule
    if typed.state == "malformed":
        wrong = listed(f"{mark} in position {place}" for place, mark in typed.wrong_positions)
        what = f": {wrong}" if wrong else f": {len(typed.vin)} characters instead of 17"
        draft.not_shown(
            "identity_unproven",
            f"{typed.vin} is no vehicle identification number{what}.",
            _TYPE_AGAIN,
            "desk",
        )
        return
    draft.number("check_digit_remainder", to_six(float(typed.remainder or 0)), "")
    if typed.state == "valid":
        return
    text = f"The check digit of {typed.vin} should be {typed.calculated}, position 9 holds {typed.printed}."
    if refused_by_rule(typed, rule):
        draft.not_shown("identity_unproven", text, _TYPE_AGAIN, "desk")
    else:
        draft.note(f"{text} The car's market does not require a check digit.")


_TYPE_AGAIN: Final = "Read the VIN from the plate again and correct the typed one."


def _readings(facts: JobFacts) -> list[VinSeen]:
    return [
        VinSeen(
            vin=normalise(item.vin_read),
            where=_where(item),
            record=item,
            module=item.module,
        )
        for item in live(facts.identity_readings)
        if normalise(item.vin_read)
    ]


def _where(item: IdentityReading) -> str:
    words = _WORDS.get(item.way, f"read by way of {item.way}")
    return words if item.module is None else f"{words}, module {item.module}"


def _scanned(facts: JobFacts) -> list[VinSeen]:
    """Module VINs of every scan that is not set aside, foreign scans among them."""
    found: list[VinSeen] = []
    for scan in live(facts.scans):
        used = {module.name for module in scan.modules if module.replaced_used_part}
        found += [
            VinSeen(
                vin=normalise(vin),
                where=f"in module {name} in the scan of stage {scan.stage.replace('_', ' ')}",
                record=scan,
                module=name,
                is_used_part=name in used,
            )
            for name, vin in scan.vin_per_module
            if normalise(vin)
        ]
    return found


def _differs(draft: Draft, facts: JobFacts, vin: str, entry: VinSeen) -> None:
    covered = _covering(facts, entry.module) if entry.is_used_part else None
    if covered is not None:
        draft.rests_on(covered)
        draft.note(f"Module {entry.module}, a used part, still holds {entry.vin}; an explanation covers it.")
        return
    change = "Set the record of the other car aside, or correct the typed VIN."
    if entry.module is not None:
        change += " A used module needs its own record and an explanation."
    sentence = f"The VIN {entry.where} is {entry.vin}, the typed one is {vin}."
    draft.not_met("identity_conflict", sentence, change, "desk")


def _covering(facts: JobFacts, module: str | None) -> Explanation | None:
    return next(
        (
            item
            for item in live(facts.explanations)
            if item.module == module and item.code.strip().casefold() in ABOUT_VIN and item.text.strip()
        ),
        None,
    )


# ------------------------------------------------------------------ readings asked for


def _asked_for(context: CheckContext, draft: Draft, name: str) -> None:
    """The reading must exist; one from a photo only counts with its photo."""
    if name == "typed":
        exists = bool(normalise(context.facts.vehicle.vin))
    elif name in ("before_scan", "final_scan"):
        exists = _scans_show_vin(draft, context.facts, name)
    else:
        readings = [item for item in live(context.facts.identity_readings) if item.way == name]
        exists = any(normalise(item.vin_read) for item in readings)
        if exists and name in PHOTO_WAYS:
            _photo(context, draft, name, readings)
    if not exists:
        draft.not_shown(
            "identity_unproven",
            f"There is no VIN {_WORDS.get(name, name.replace('_', ' '))}.",
            _HOW_TO_READ.get(name, f"Record the VIN {_WORDS.get(name, name.replace('_', ' '))}."),
        )


def _scans_show_vin(draft: Draft, facts: JobFacts, name: str) -> bool:
    if name == "final_scan":
        # The last one is the scan that the codes are compared with: it must name the car itself.
        finals = sorted(
            (scan for scan in live(facts.scans) if scan.stage == "final"), key=lambda scan: scan.ended.high
        )
        scans = tuple(finals[-1:])
    else:
        scans = tuple(scan for scan in live(facts.scans) if scan.stage == "before_repair")
        if not scans:
            stand_in, _ = first_scan(facts)
            scans = () if stand_in is None else (stand_in,)
            if stand_in is not None:
                draft.note("The scan before aiming stands in for the scan before the repair.")
    return _any_vin(scans)


def _any_vin(scans: Iterable[Scan]) -> bool:
    return any(normalise(vin) for scan in scans for _module, vin in scan.vin_per_module)


def _photo(context: CheckContext, draft: Draft, name: str, readings: list[IdentityReading]) -> None:
    """At least one reading of this way must have a photo that can carry it."""
    setting = setting_of(context)
    named = {evidence for item in readings for evidence in item.evidence}
    photos = [photo for photo in live(context.facts.photos) if photo.id in named]
    if not photos:
        draft.not_shown(
            "identity_unproven",
            f"The VIN read from {PHOTO_WAYS[name]} comes without its photo.",
            "Photograph the VIN plate.",
        )
        return
    faults = [photo_faults(setting, photo) for photo in photos]
    if all(faults):
        draft.not_shown(
            "identity_unproven",
            f"No usable photo shows {PHOTO_WAYS[name]}.",
            "Photograph the VIN plate again.",
        )
        for fault in min(faults, key=len):
            draft.open(fault.reason, fault.text, fault.change)
