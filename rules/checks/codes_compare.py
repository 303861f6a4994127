"""codes_compare: what became of every code and every module from the scan before repair to the final one."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from rules.checks.base import CheckContext
from rules.checks.codes import answered, modules_of, normalised, note_supply
from rules.checks.draft import Draft
from rules.checks.scan_order import place_of_final, shown_too_early
from rules.checks.sentences import begin, clock_text, word_argument
from rules.checks.settling import work_begun
from rules.facts import Explanation, JobFacts, Scan, ScanModule, live
from rules.scans import first_scan, own_scans
from rules.science.clocks import happened_before
from rules.science.trouble_codes import CodeClass, Key, Seen, classify, merge_duplicates, shown
from rules.verdict import MET, Outcome
from rules.work_list import names_on_list

# A new fault here holds the car wherever it comes from.
CRITICAL_SYSTEMS: Final = frozenset({"restraint", "brake", "steering"})
SHORTEST_EXPLANATION: Final = 40
# Modules that an operation unplugs or replaces, by the beginning of its name.
MODULES_OF_OPERATION: Final = (
    ("camera.forward.", "forward_camera"),
    ("camera.surround.", "surround_cameras"),
    ("camera.rear.", "rear_camera"),
    ("radar.front.", "front_radar"),
    ("radar.front_corner.", "front_corner_radar"),
    ("radar.rear_corner.", "rear_corner_radar"),
    ("parking.sensor.", "parking_sensors"),
    ("steering.angle_sensor.", "steering_angle_sensor"),
    ("steering.rack.", "steering"),
    ("module.steering.", "steering"),
    ("module.brake.", "brake"),
    ("module.body.", "body"),
)
_CHANGE: Final = "Find and repair the cause, then scan all modules again."


@dataclass(slots=True)
class Comparison:
    """Both scans with their codes by (module, code, failure type), module names as in the first scan."""

    first: Scan
    final: Scan
    is_stand_in: bool
    names: Mapping[str, str]
    before: dict[Key, Seen] = field(default_factory=dict)
    between: set[Key] = field(default_factory=set)
    after: dict[Key, Seen] = field(default_factory=dict)
    systems: dict[str, set[str]] = field(default_factory=dict)


def codes_compare(context: CheckContext) -> Outcome:
    """Arguments ``from``, ``to`` (stages) and ``scope: touched``.

    In scope: modules of the aimed sensors, those they depend on, every module unplugged or replaced. Reason
    codes: missing, order_unprovable, code_remaining, code_new, module_silent.
    """
    draft = begin(
        context,
        "From the first scan to the final one no code of the work may remain or be new",
    )
    first, is_stand_in = first_scan(context.facts)
    final = _final(context, draft)
    if first is None:
        _no_first(context, draft)
    else:
        draft.rests_on(first)
    if first is None or final is None:
        return draft.outcome()
    if happened_before(first.ended, final.ended) != "true":
        draft.not_shown(
            "order_unprovable",
            "It is not shown that the scan to compare with came before the final one.",
            "Compare the scan device's clock with the server's.",
            "desk",
        )
    if is_stand_in:
        draft.note("Compared with the scan before aiming; state before the repair is not known.")
    compared = compare(context.facts, first, final, is_stand_in=is_stand_in)
    scope = scope_of(context, final)
    _judge_codes(context, draft, compared, scope)
    _judge_modules(context, draft, compared)
    for scan in (first, final):
        note_supply(draft, scan)
    if draft.tally.verdict == MET:
        draft.say(
            f"Final scan {clock_text(context.facts.place, final.ended)}: {answered(final)}. Every module "
            "that answered before answers now, and no code of the work remains or is new."
        )
    return draft.outcome()


def _no_first(context: CheckContext, draft: Draft) -> None:
    """With the work begun only an earlier scan that was never filed could still serve."""
    late = work_begun(context.facts)
    draft.not_shown(
        "missing",
        "There is no scan before the repair, and none before aiming.",
        "File the scan if one was made in time; the state before the work cannot be scanned any more."
        if late
        else "Scan all modules of this car before the work begins.",
        "never" if late else "car_here",
    )


def _final(context: CheckContext, draft: Draft) -> Scan | None:
    """The last scan of stage final that is not shown to be too early; says where even that is open."""
    scans = [scan for scan in own_scans(context.facts, "final") if not shown_too_early(context, scan)]
    change = "Scan all modules once more, after everything else is done."
    if not scans:
        early = bool(own_scans(context.facts, "final"))
        what = "The final scan ended before the work did" if early else "There is no final scan of this car"
        draft.not_shown("missing", f"{what}.", change)
        return None
    final = scans[-1]
    draft.rests_on(final)
    draft.uses([final.device])
    place = place_of_final(context, final)
    others_first = all(happened_before(scan.ended, final.ended) == "true" for scan in scans[:-1])
    if place == "open" or not others_first:
        draft.not_shown(
            "order_unprovable",
            "The clocks do not show that the final scan came last, after all work.",
            change,
        )
    elif place == "repair_open":
        draft.not_shown(
            "missing",
            "An operation on the list is not recorded as done.",
            "Record when each operation was done; the final scan has to come after all of them.",
            "desk",
        )
    return final


# ------------------------------------------------------------------ comparing


def compare(facts: JobFacts, first: Scan, final: Scan, *, is_stand_in: bool) -> Comparison:
    """Codes of both scans and of the scans between them, duplicates merged."""
    names = renamed(first.modules, final.modules)
    compared = Comparison(first=first, final=final, is_stand_in=is_stand_in, names=names)
    compared.before = merge_duplicates(_codes(first.modules, {}), highest_count=False)
    compared.after = merge_duplicates(_codes(final.modules, names), highest_count=True)
    for scan in own_scans(facts):
        if scan.id in (first.id, final.id):
            continue
        orders = {happened_before(first.ended, scan.ended), happened_before(scan.ended, final.ended)}
        if orders == {"true"}:
            keys = (key for key, _ in _codes(scan.modules, renamed(first.modules, scan.modules)))
            compared.between.update(keys)
    for module in (*first.modules, *final.modules):
        compared.systems.setdefault(names.get(module.name, module.name), set()).add(module.system)
    return compared


def _codes(modules: Iterable[ScanModule], names: Mapping[str, str]) -> list[tuple[Key, Seen]]:
    return [
        ((names.get(module.name, module.name), *normalised(code)), Seen(state=code.state, count=code.count))
        for module in modules
        for code in module.codes
    ]


def renamed(first: Iterable[ScanModule], later: Iterable[ScanModule]) -> dict[str, str]:
    """Names of modules that only changed their name : later name to first name, by address."""
    early, late = tuple(first), tuple(later)
    early_names, late_names = {item.name for item in early}, {item.name for item in late}
    by_address = {item.address: item.name for item in early if item.address and item.name not in late_names}
    return {
        item.name: by_address[item.address]
        for item in late
        if item.address in by_address and item.name not in early_names
    }


def aimed_sensors(context: CheckContext) -> frozenset[str]:
    """The sensors of every required procedure that aims or teaches one (a common record has no kind)."""
    aiming = [item for item in context.required.values() if item.procedure.kind]
    return frozenset(sensor for item in aiming for sensor in item.sensors)


def scope_of(context: CheckContext, final: Scan) -> frozenset[str] | None:
    """The systems whose codes count as those of the work; None where the pack asks for all modules."""
    if word_argument(context, "scope", "touched") != "touched":
        return None
    scope: set[str] = set()
    for item in context.required.values():
        scope.update(item.sensors)
        for sensor in item.sensors:
            scope.update(item.edition.depends_on.get(sensor, ()))
    for name in names_on_list(context.facts):
        scope.update(system for start, system in MODULES_OF_OPERATION if _moved(name, start))
    for scan in own_scans(context.facts):
        scope.update(module.system for module in scan.modules if module.replaced_used_part)
    return frozenset(scope)


def _moved(name: str, start: str) -> bool:
    return name.startswith(start) and name.rsplit(".", 1)[-1] in ("unplugged", "replaced")


# ------------------------------------------------------------------ judging codes


def _judge_codes(
    context: CheckContext, draft: Draft, compared: Comparison, scope: frozenset[str] | None
) -> None:
    classes = classify(compared.before, compared.between, compared.after)
    counts = dict.fromkeys(("resolved", "remaining", "new", "set_while_working", "history_only"), 0)
    for key, found in classes.items():
        counts[found] += 1
        # Two scans may label one module differently: the label under which its codes weigh more counts.
        systems = frozenset(compared.systems.get(key[0], {"other"}))
        if systems <= set(context.refused_sensors):
            draft.note(f"{_name(key)} belongs to a refused sensor and is printed on page 1.")
        else:
            in_scope = scope is None or bool(systems & scope)
            _judge_code(context, draft, (key, found, systems, compared.after.get(key)), in_scope=in_scope)
    for name, count in counts.items():
        draft.number(name, float(count), "")


def _name(key: Key) -> str:
    return f"{shown(key[1], key[2])} in module {key[0]}"


def _judge_code(
    context: CheckContext,
    draft: Draft,
    entry: tuple[Key, CodeClass, frozenset[str], Seen | None],
    *,
    in_scope: bool,
) -> None:
    key, found, systems, now = entry
    name = _name(key)
    if found in ("resolved", "set_while_working", "history_only"):
        draft.note(f"{name}: {found.replace('_', ' ')}.")
    elif found == "remaining" and in_scope:
        draft.not_met("code_remaining", f"{name} was there before the repair and remains.", _CHANGE)
    elif found == "new" and in_scope:
        draft.not_met(
            "code_new", f"{name} was not there before the repair and is in the final scan.", _CHANGE
        )
    elif found == "remaining" or (now is not None and now.state == "stored"):
        draft.note(f"{name}: {found}, outside the work; a line on the owner's sheet.")
    else:
        _new_outside(context, draft, key, systems)


def _new_outside(context: CheckContext, draft: Draft, key: Key, systems: frozenset[str]) -> None:
    """A new code outside the work: held in restraint, brake, steering; else until it is explained."""
    name = _name(key)
    critical = sorted(systems & CRITICAL_SYSTEMS)
    if critical:
        draft.not_met("code_new", f"{name} is new, in a {critical[0]} module.", _CHANGE)
        return
    explanation = _explained(context, key)
    if explanation is not None:
        draft.rests_on(explanation)
        draft.note(f"{name} is new; explained by {explanation.by}: {explanation.text}")
        return
    draft.not_shown(
        "code_new",
        f"{name} is new, outside the work, and not explained.",
        "Repair its cause and scan again, or a quality reviewer explains it.",
        "desk",
    )


def _explained(context: CheckContext, key: Key) -> Explanation | None:
    for item in live(context.facts.explanations):
        if item.role != "quality_reviewer" or len(item.text.strip()) < SHORTEST_EXPLANATION:
            continue
        if (item.module, *normalised(item)) == key:
            return item
    return None


# ------------------------------------------------------------------ judging modules


def _judge_modules(context: CheckContext, draft: Draft, compared: Comparison) -> None:
    aimed = aimed_sensors(context)
    final = _final_modules(compared)
    first = _first_modules(context.facts, compared)
    for name, module in first.items():
        now = final.get(name)
        if now is None:
            draft.not_shown("missing", f"Module {name} was not asked in the final scan.", _SCAN_ALL)
        elif module.answered and not now.answered:
            _silent(draft, name, is_aimed=bool(aimed & {now.system, module.system}))
    for name, module in final.items():
        answered_first = name in first and first[name].answered
        if not module.answered and not answered_first:
            _silent_throughout(draft, name, is_aimed=module.system in aimed)
    _listed_at_all(draft, compared, aimed)


def _final_modules(compared: Comparison) -> dict[str, ScanModule]:
    """Modules of the final scan by their first name; of several with one name the silent one speaks."""
    modules: dict[str, ScanModule] = {}
    for module in compared.final.modules:
        name = compared.names.get(module.name, module.name)
        if name not in modules or not module.answered:
            modules[name] = module
    return modules


def _silent_throughout(draft: Draft, name: str, *, is_aimed: bool) -> None:
    """A module that answered in neither scan: a note, save for the aimed one."""
    if is_aimed:
        _silent(draft, name, is_aimed=True)
    else:
        draft.note(f"Module {name} did not answer in the final scan, nor in the first.")


def _listed_at_all(draft: Draft, compared: Comparison, aimed: frozenset[str]) -> None:
    for sensor in sorted(aimed):
        for scan, word in ((compared.first, "first"), (compared.final, "final")):
            if not modules_of(scan, frozenset({sensor})):
                what = sensor.replace("_", " ")
                draft.not_shown("missing", f"The {word} scan lists no module of the {what}.", _SCAN_ALL)


_SCAN_ALL: Final = "Scan all modules again, answered or not."


def _first_modules(facts: JobFacts, compared: Comparison) -> dict[str, ScanModule]:
    """Modules of the first scan; of several scans before the repair, a module answered if it did in any."""
    modules: dict[str, ScanModule] = {}
    others = () if compared.is_stand_in else own_scans(facts, "before_repair")
    for scan in (compared.first, *others):
        names = renamed(compared.first.modules, scan.modules)
        for module in scan.modules:
            name = names.get(module.name, module.name)
            if name not in modules or (module.answered and not modules[name].answered):
                modules[name] = module
    return modules


def _silent(draft: Draft, name: str, *, is_aimed: bool) -> None:
    change = "Find out why the module is silent, then scan all modules again."
    if is_aimed:
        draft.not_met("module_silent", f"Module {name}, of the aimed sensor, does not answer.", change)
    else:
        draft.not_shown("module_silent", f"Module {name} answered before and does not answer now.", change)
