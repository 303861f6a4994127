"""How a played day is told on a terminal: verdicts with their reasons and sentences, then the gate."""

import textwrap
from collections.abc import Callable
from typing import Any

WORDS = {"met": "met", "not_met": "not met", "not_shown": "not shown"}


def tell_assessment(assessment: dict[str, Any], tell: Callable[[str], None]) -> None:
    """Prints every procedure, every proof with its verdict and sentence, and the gate."""
    titles = {item["procedure_id"]: item["title"] for item in assessment["requirements"]}
    for procedure in assessment["procedures"]:
        if procedure["state"] == "not_required":
            continue
        tell("")
        name = procedure["procedure_id"]
        tell(f"  {name}  {titles.get(name, '')}: {WORDS[procedure['verdict']]}")
        for finding in assessment["findings"]:
            if finding["procedure_id"] == procedure["procedure_id"]:
                _tell_finding(finding, tell)
    tell("")
    gate = assessment["disposition"].replace("_", " ")
    tell(f"  The whole record: {WORDS[assessment['verdict']]}. Gate: {gate}.")
    for line in assessment["held_because"]:
        tell(f"    held: {line}")


def _tell_finding(finding: dict[str, Any], tell: Callable[[str], None]) -> None:
    outcome = finding["outcome"]
    reasons = f" ({', '.join(outcome['reasons'])})" if outcome["reasons"] else ""
    tell(f"    {WORDS[outcome['verdict']]:<9}  {finding['proof_id']}{reasons}")
    for line in textwrap.wrap(outcome["sentence"], 96):
        tell(f"               {line}")
