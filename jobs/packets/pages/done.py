"""What was done for one requirement, in a few words with its key numbers: the middle column of page 1."""

from typing import Final

from jobs.packets.pages import times
from jobs.packets.pages.context import PageContext
from jobs.packets.pages.words import counted, plain, sentence_case
from rules.display import limit_text, number_name, place_of, value_text, with_unit
from rules.explain import VERDICT_WORDS
from rules.facts import live
from rules.result import ProcedureResult, Requirement
from rules.verdict import Finding, Number

# Checks whose numbers a reader wants first, and how many of them (project default).
KEY_CHECKS: Final = {
    "target_pose": 3,
    "mat_positions": 2,
    "value": 2,
    "thrust_angle": 1,
}
# Of earlier attempts page 1 tells the last ones; chapter 5 tells all.
SHOWN_ATTEMPTS: Final = 2


def done_text(context: PageContext, requirement: Requirement) -> str:
    """Session, people and times, then key numbers; ``Nothing recorded.`` where nothing was done."""
    findings = [f for f in context.assessment.findings if f.procedure_id == requirement.procedure_id]
    checks = {finding.check for finding in findings}
    parts = [_session_text(context, requirement)]
    if "adhesive_ready" in checks:
        parts.append(_glass_text(context))
    if "scan_present" in checks:
        parts.append(_scan_text(context))
    parts += [_key_numbers(finding) for finding in findings]
    text = " ".join(part for part in parts if part)
    return text or "Nothing recorded."


def _session_text(context: PageContext, requirement: Requirement) -> str:
    result = context.results.get(requirement.procedure_id)
    attempts = [s for s in context.facts.sessions if s.procedure_id == requirement.procedure_id]
    if not attempts:
        return ""
    governing = context.sessions.get(result.governing_session or "") if result else None
    if governing is None:
        return f"{counted(len(attempts), 'session', 'sessions')} recorded, none of them counts."
    ended = governing.ended.high if governing.ended else None
    when = times.span(governing.place, governing.started.high, ended)
    who = context.name(governing.performed_by)
    number = f"attempt {governing.attempt} of {len(attempts)}"
    return ". ".join((f"{when}, {who}, {number}", *_other_attempts(result))) + "."


def _other_attempts(result: ProcedureResult | None) -> list[str]:
    """How the attempts ended that count for nothing: ``Attempt 1 failed: not met``."""
    others = [attempt for attempt in result.attempts if not attempt.governs] if result else []
    return [
        f"Attempt {item.attempt} {plain(item.result)}: {VERDICT_WORDS[item.verdict]}"
        for item in others[-SHOWN_ATTEMPTS:]
    ]


def _glass_text(context: PageContext) -> str:
    glass = live(context.facts.glass_sets)
    if not glass:
        return ""
    last = max(glass, key=lambda item: item.set_at.high)
    text = f"Set {times.clock_text_up(context.place, last.set_at.high)}, {context.name(last.set_by)}."
    ready = context.assessment.ready
    if ready is None or ready.ready_cautious is None:
        return f"{text} No ready time can be given."
    minutes = f" ({ready.minutes} min by the data sheet)" if ready.minutes else ""
    return f"{text} Ready {times.clock_text_up(context.place, ready.ready_cautious)}{minutes}."


def _scan_text(context: PageContext) -> str:
    """Modules that answered and codes, in the last scan before repair and in the last final one."""
    modules, codes = [], []
    for stage, words in (("before_repair", "before repair"), ("final", "in the final scan")):
        scans = [scan for scan in live(context.facts.scans) if scan.stage == stage]
        if scans:
            last = max(scans, key=lambda scan: scan.ended.high)
            answered = [module for module in last.modules if module.answered]
            modules.append(f"{len(answered)} of {len(last.modules)} {words}")
            codes.append(str(sum(len(module.codes) for module in answered)))
    if not modules:
        return ""
    return f"Modules answered: {', '.join(modules)}. Codes: {', then '.join(codes)}."


def _drive_text(finding: Finding) -> str:
    """``719 s counted (341, 233, 145).``"""
    numbers = {number.name: number for number in finding.outcome.numbers}
    counted_number = numbers.get("counted_s")
    if counted_number is None:
        return ""
    runs = [value_text(number) for name, number in numbers.items() if name.startswith("run_")]
    return f"{with_unit(counted_number)} counted" + (f" ({', '.join(runs)})." if runs else ".")


def _key_numbers(finding: Finding) -> str:
    wanted = KEY_CHECKS.get(finding.check, 0)
    if finding.check == "drive_log":
        return _drive_text(finding)
    texts = [_number_words(number) for number in _decisive(finding)[:wanted]]
    return f"{sentence_case(', '.join(texts))}." if texts else ""


def _decisive(finding: Finding) -> list[Number]:
    """Numbers that a limit decides, what is open first; a step on the way would be read as one of them."""
    known = [number for number in finding.outcome.numbers if number.value is not None]
    limited = [number for number in known if limit_text(number)]
    return sorted(limited, key=lambda number: place_of(number) == "met") or known


def _number_words(number: Number) -> str:
    return f"{number_name(number)} {with_unit(number)}"
