"""Proofs that ask before a session what can only be known after it: no record can meet them."""

from typing import Final

from rules.packs.errors import FaultList
from rules.packs.model import Procedure, Proof

# Statements about a time that ends with the session.
_TOLD_AFTERWARDS: Final = ("nothing_moved_from_set_up_to_session_end",)
# Stages of scans made when the session is over, while no_codes looks at what bars its beginning.
_LATER_STAGES: Final = ("final", "later")


def check_never_shown(procedure: Procedure, faults: FaultList) -> None:
    """``never_shown``: with a session, such a value is taken before it begins."""
    for proof in procedure.proofs if procedure.kind else ():
        for way in proof.alternatives or (proof,):
            _check_way(way, procedure, faults)


def _check_way(way: Proof, procedure: Procedure, faults: FaultList) -> None:
    where = f"{procedure.id}, {way.id}"
    said = way.arguments.get("says", ())
    early = [word for word in _TOLD_AFTERWARDS if isinstance(said, tuple) and word in said]
    if way.check == "statement" and early and way.arguments.get("at") != "after_session":
        faults.add(
            way.line,
            "never_shown",
            f"{where}: {early[0]} can be stated only when the session is over, but is asked before it begins",
            expected="a statement of its own with at: after_session",
            found=f"says: {early[0]}, without at:",
        )
    stage = way.arguments.get("stage")
    if way.check == "no_codes" and stage in _LATER_STAGES:
        faults.add(
            way.line,
            "never_shown",
            f"{where}: no_codes looks at a scan before the session begins; a {stage} scan comes after it",
            expected="check: codes_compare, from: before_repair, to: final, scope: touched",
            found=f"stage: {stage}",
        )
