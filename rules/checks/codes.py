"""scan_present and no_codes: the scan exists, and the aimed module shows nothing that bars aiming."""

from typing import Final

from rules.checks.base import CheckContext
from rules.checks.draft import Draft, listed
from rules.checks.freshness import serving
from rules.checks.scan_order import shown_too_early
from rules.checks.sentences import begin, clock_text, names_argument, word_argument
from rules.checks.settling import work_begun
from rules.checks.stale_words import why_stale
from rules.facts import Explanation, Moment, Scan, ScanModule, TroubleCode
from rules.scans import own_scans
from rules.science.trouble_codes import normalise, shown
from rules.verdict import MET, Outcome, Settle

# Below this supply, codes for lost communication are doubtful (project default, V).
LOW_SUPPLY_V: Final = 11.5
AIMED: Final = "aimed_sensor"


def scan_present(context: CheckContext) -> Outcome:
    """Argument ``stage``. A scan of this car with that stage, not set aside, is on record.

    A final scan that is shown to have ended before the repair or the last session does not count. Reason
    code: missing.
    """
    stage = word_argument(context, "stage")
    name = stage.replace("_", " ")
    draft = begin(context, f"A scan of this car, {name}, must be on record")
    scans = own_scans(context.facts, stage)
    if stage == "final":
        scans = tuple(scan for scan in scans if not shown_too_early(context, scan))
    if not scans:
        draft.not_shown("missing", f"There is no scan of this car, {name}.", *_change(context, stage))
        return draft.outcome()
    draft.rests_on(scans[-1])
    draft.say(
        f"The scan {name} ended {clock_text(context.facts.place, scans[-1].ended)}: {answered(scans[-1])}."
    )
    note_supply(draft, scans[-1])
    return draft.outcome()


def _change(context: CheckContext, stage: str) -> tuple[str, Settle]:
    if stage == "before_repair" and work_begun(context.facts):
        waive = " The proof may be waived." if context.proof.waivable else ""
        return f"The state before the repair cannot be scanned any more.{waive}", "never"
    when = " before the work begins" if stage == "before_repair" else ""
    return f"Scan all modules of this car{when}.", "car_here"


def answered(scan: Scan) -> str:
    """``30 of 31 modules answered``."""
    answering = [module for module in scan.modules if module.answered]
    return f"{len(answering)} of {len(scan.modules)} modules answered"


def note_supply(draft: Draft, scan: Scan) -> None:
    """Codes for lost communication in a scan at low voltage are marked doubtful; the verdict stays."""
    volts = scan.supply_voltage_v
    if volts is None or volts >= LOW_SUPPLY_V:
        return
    codes = [code for module in scan.modules for code in module.codes]
    lost = [shown(*normalised(code)) for code in codes if normalised(code)[0].startswith("U")]
    if lost:
        draft.note(f"Doubtful, because the supply was {volts:g} V at the scan: {listed(lost)}.")


def normalised(code: TroubleCode | Explanation) -> tuple[str, str | None]:
    """Code and failure type in their one spelling; a code of another kind keeps its own."""
    try:
        return normalise(code.code, code.ftb)
    except ValueError:
        return code.code.strip().upper(), None if code.ftb is None else code.ftb.strip().upper()


def modules_of(scan: Scan, systems: frozenset[str]) -> tuple[ScanModule, ...]:
    """The modules that serve these sensors or systems."""
    return tuple(module for module in scan.modules if module.system in systems)


# ------------------------------------------------------------------ no_codes


def no_codes(context: CheckContext) -> Outcome:
    """Arguments ``module`` (a sensor, or aimed_sensor), ``stage``, ``allow`` (codes that say "not aimed").

    Any other present or intermittent code of the module bars aiming; stored ones are noted. Reason codes:
    missing, evidence_stale, conflict, module_silent, code_remaining.
    """
    draft = begin(context, "The aimed module must show no code that bars aiming")
    stage = word_argument(context, "stage")
    scans = own_scans(context.facts, stage)
    scan, reason = serving(context, scans, _ended, lambda item: frozenset(item.modules))
    if scan is None:
        named = stage.replace("_", " ")
        told = f"No scan {named} serves this session. {why_stale(context, scans, _ended)}".rstrip()
        if reason is not None and reason.code == "conflict":
            told = f"Two scans {named} of one time differ."
        draft.not_shown(
            "missing" if reason is None else reason.code,
            told,
            "Scan all modules before the session starts.",
            "now",
        )
        return draft.outcome()
    draft.rests_on(scan)
    draft.uses([scan.device])
    allowed = {normalise(text) for text in names_argument(context, "allow")}
    for system in _systems(context):
        modules = modules_of(scan, frozenset({system}))
        if not modules:
            draft.not_shown(
                "missing",
                f"The scan lists no module of the {system.replace('_', ' ')}.",
                "Scan all modules.",
                "now",
            )
        for module in modules:
            _judge_module(draft, module, allowed)
    note_supply(draft, scan)
    if draft.tally.verdict == MET:
        at = clock_text(context.facts.place, scan.ended)
        draft.say(f"In the scan of {at} the aimed module answered and shows no code that bars aiming.")
    return draft.outcome()


def _ended(scan: Scan) -> Moment:
    return scan.ended


def _systems(context: CheckContext) -> tuple[str, ...]:
    module = word_argument(context, "module")
    if module != AIMED:
        return (module,)
    if not context.current.sensors:
        raise ValueError("the procedure names no aimed sensor")
    return context.current.sensors


def _judge_module(draft: Draft, module: ScanModule, allowed: set[tuple[str, str | None]]) -> None:
    if not module.answered:
        draft.not_met(
            "module_silent",
            f"Module {module.name} did not answer.",
            "Find out why it is silent and scan again.",
            "now",
        )
        return
    for code in module.codes:
        key = normalised(code)
        name = f"{shown(*key)} in module {module.name}"
        if code.state == "stored":
            draft.note(f"Stored only: {name}.")
        elif key in allowed:
            draft.note(f"Allowed, it says that the sensor is not aimed yet: {name}.")
        else:
            draft.not_met(
                "code_remaining",
                f"{name} is {code.state} before aiming.",
                "Find and repair its cause, then scan again.",
                "now",
            )
