"""The packs of the invented world as read from the fixtures, for tests of the whole judgement."""

from functools import cache
from pathlib import Path

from rules.packs.model import PackSet, Procedure, Proof
from rules.packs.reader import read_pack

FOLDER = Path(__file__).parents[2] / "fixtures" / "packs"


@cache
def packs_on_file() -> PackSet:
    """common-practice 3, orrinvale 7 and orrinvale 8."""
    return PackSet(
        editions=tuple(read_pack(path.read_bytes(), name=path.name) for path in sorted(FOLDER.glob("*.yaml")))
    )


def procedure(procedure_id: str) -> Procedure:
    """The procedure in the oldest edition on file that has it."""
    for edition in packs_on_file().editions:
        found = edition.procedure(procedure_id)
        if found is not None:
            return found
    raise LookupError(procedure_id)


def proof(procedure_id: str, proof_id: str) -> Proof:
    return next(item for item in procedure(procedure_id).proofs if item.id == proof_id)
