"""General-purpose rule engines doing the same work: which rules apply, and which requirements are met.

Each is handed the flat document, in which the guard is already taken off the values (an advantage to it), and
gives {rule: six answers}. ``alone`` looks at all rules; ``handed`` is given the rules that our index chose.
None is needed to run or to test the program: they come with the dependency group ``bench``.
"""

import importlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType
from typing import Any

from tests.bench.workload import MEASURED, Rule, Verdicts

Flat = dict[str, Any]
Alone = Callable[[Flat], Verdicts]
Handed = Callable[[Flat, list[str]], Verdicts]


@dataclass(frozen=True)
class Peer:
    """``rate``: about how many jobs in a second, so that slow ones get fewer."""

    name: str
    module: str
    rate: int
    alone: Callable[[ModuleType, list[Rule]], Alone] | None = None
    handed: Callable[[ModuleType, list[Rule]], Handed] | None = None


def installed(peer: Peer) -> ModuleType | None:
    try:
        return importlib.import_module(peer.module)
    except ImportError:
        return None


def _named(rule: Rule) -> list[tuple[str, float, float]]:
    return [(MEASURED[which][6], lower, upper) for which, lower, upper in rule.limits]


# ------------------------------------------------------------------ zen-engine: a decision table


def zen_alone(zen: ModuleType, rules: list[Rule]) -> Alone:
    columns = [("a", "make"), ("b", "fitted"), ("c", "operations"), ("d", "year")]
    table = {
        "hitPolicy": "collect",
        "inputs": [{"id": key, "name": field, "field": field} for key, field in columns],
        "outputs": [{"id": key, "name": key, "field": key} for key in ("rule", "met")],
        "rules": [
            {
                "_id": rule.id,
                "a": json.dumps(rule.make),
                "b": f"{json.dumps(rule.sensor)} in $",
                "c": f"some($, # in {json.dumps(list(rule.operations))})",
                "d": f"[{rule.years[0]}..{rule.years[1]}]",
                "rule": json.dumps(rule.id),
                "met": "[" + ", ".join(_zen_requirements(rule)) + "]",
            }
            for rule in rules
        ],
    }
    place = {"x": 0, "y": 0}
    content = {
        "contentType": "application/vnd.gorules.decision",
        "nodes": [
            {"id": "in", "type": "inputNode", "name": "in", "position": place},
            {"id": "t", "type": "decisionTableNode", "name": "t", "position": place, "content": table},
            {"id": "out", "type": "outputNode", "name": "out", "position": place},
        ],
        "edges": [
            {"id": "1", "sourceId": "in", "targetId": "t", "type": "edge"},
            {"id": "2", "sourceId": "t", "targetId": "out", "type": "edge"},
        ],
    }
    decision = zen.ZenEngine().create_decision(zen.ZenDecisionContent(json.dumps(content)))
    return lambda flat: {row["rule"]: tuple(row["met"]) for row in decision.evaluate(flat)["result"]}


def _zen_requirements(rule: Rule) -> list[str]:
    inside = [
        f"measured.{name}.low >= {low} and measured.{name}.high <= {high}" for name, low, high in _named(rule)
    ]
    return [
        *inside,
        f"not({json.dumps(rule.sensor)} in codes)",
        f"{json.dumps(rule.says)} in said",
        f"{json.dumps(rule.id)} in completed",
    ]


# ------------------------------------------------------------------ jsonschema-rs: schemas as rules


def _requirement_schemas(rule: Rule) -> list[dict[str, Any]]:
    inside = [
        {"properties": {"measured": {"properties": {name: {"properties": {
            "low": {"minimum": low}, "high": {"maximum": high}}}}}}}
        for name, low, high in _named(rule)
    ]  # fmt: skip
    return [
        *inside,
        {"properties": {"codes": {"not": {"contains": {"const": rule.sensor}}}}},
        {"properties": {"said": {"contains": {"const": rule.says}}}},
        {"properties": {"completed": {"contains": {"const": rule.id}}}},
    ]


def _applies_schema(rule: Rule) -> dict[str, Any]:
    return {
        "properties": {
            "make": {"const": rule.make},
            "fitted": {"contains": {"const": rule.sensor}},
            "operations": {"contains": {"enum": list(rule.operations)}},
            "year": {"minimum": rule.years[0], "maximum": rule.years[1]},
        }
    }


def schema_alone(library: ModuleType, rules: list[Rule]) -> Alone:
    """One schema: if a rule applies, then its six requirements, and one that always fails and so names it."""
    schema = {
        "allOf": [
            {"if": _applies_schema(rule), "then": {"allOf": [*_requirement_schemas(rule), False]}}
            for rule in rules
        ]
    }
    validator = library.validator_for(schema)
    ids = [rule.id for rule in rules]

    def run(flat: Flat) -> Verdicts:
        failed: dict[str, set[int]] = {}
        for error in validator.iter_errors(flat):
            path = error.schema_path
            # allOf / rule / (if or then) / allOf / requirement / …
            failed.setdefault(ids[path[1]], set()).add(path[path.index("allOf", 2) + 1])
        return {name: tuple(n not in bad for n in range(6)) for name, bad in failed.items()}

    return run


def schema_handed(library: ModuleType, rules: list[Rule]) -> Handed:
    validators = {rule.id: library.validator_for({"allOf": _requirement_schemas(rule)}) for rule in rules}

    def run(flat: Flat, chosen: list[str]) -> Verdicts:
        found = {}
        for name in chosen:
            bad = {error.schema_path[1] for error in validators[name].iter_errors(flat)}
            found[name] = tuple(n not in bad for n in range(6))
        return found

    return run


# ------------------------------------------------------------------ Common Expression Language


def cel_handed(cel: ModuleType, rules: list[Rule]) -> Handed:
    programs = {rule.id: cel.compile(_cel_text(rule)) for rule in rules}

    def run(flat: Flat, chosen: list[str]) -> Verdicts:
        context = cel.Context(flat)
        return {name: tuple(programs[name].execute(context)) for name in chosen}

    return run


def _cel_text(rule: Rule) -> str:
    inside = [
        f"measured.{name}.low >= {low!r} && measured.{name}.high <= {high!r}"
        for name, low, high in _named(rule)
    ]
    return "[" + ", ".join(
        [*inside, f"!('{rule.sensor}' in codes)", f"'{rule.says}' in said", f"'{rule.id}' in completed"]
    ) + "]"  # fmt: skip


# ------------------------------------------------------------------ json-logic


def logic_handed(library: ModuleType, rules: list[Rule]) -> Handed:
    texts = {rule.id: [*_logic(rule)] for rule in rules}
    return lambda flat, chosen: {
        name: tuple(bool(library.jsonLogic(text, flat)) for text in texts[name]) for name in chosen
    }


def _logic(rule: Rule) -> list[dict[str, Any]]:
    inside: list[dict[str, Any]] = [
        {
            "and": [
                {">=": [{"var": f"measured.{name}.low"}, low]},
                {"<=": [{"var": f"measured.{name}.high"}, high]},
            ]
        }
        for name, low, high in _named(rule)
    ]
    return [
        *inside,
        {"!": [{"in": [rule.sensor, {"var": "codes"}]}]},
        {"in": [rule.says, {"var": "said"}]},
        {"in": [rule.id, {"var": "completed"}]},
    ]


# ------------------------------------------------------------------ rule-engine


def rule_engine_handed(library: ModuleType, rules: list[Rule]) -> Handed:
    texts = {rule.id: [library.Rule(text) for text in _rule_texts(rule)] for rule in rules}
    return lambda flat, chosen: {name: tuple(one.matches(flat) for one in texts[name]) for name in chosen}


def _rule_texts(rule: Rule) -> list[str]:
    inside = [
        f"measured['{name}']['low'] >= {low} and measured['{name}']['high'] <= {high}"
        for name, low, high in _named(rule)
    ]
    return [*inside, f"not ('{rule.sensor}' in codes)", f"'{rule.says}' in said", f"'{rule.id}' in completed"]


PEERS = (
    Peer("zen-engine, decision table", "zen", 2000, alone=zen_alone),
    Peer("jsonschema-rs", "jsonschema_rs", 2000, alone=schema_alone, handed=schema_handed),
    Peer("common-expression-language", "cel", 800, handed=cel_handed),
    Peer("json-logic-qubit", "json_logic", 400, handed=logic_handed),
    Peer("rule-engine", "rule_engine", 30, handed=rule_engine_handed),
)
