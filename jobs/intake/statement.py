"""Statements and signatures in JSON, as the tablet writes them."""

import re
from typing import BinaryIO, Final

from jobs.intake.decoded import SignatureFacts, StatementFacts
from jobs.intake.fields import Fields, wrong
from jobs.intake.strict_json import parse_strict
from rules.vocabulary import SIGN_OFF_ROLES

MOST_NAMES: Final = 200
MOST_COVERED: Final = 20_000
_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,79}", re.ASCII)
_SHA256: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)


def read_statement(data: bytes, _: BinaryIO | None) -> tuple[StatementFacts, list[str]]:
    """``{says, text_version, by, at}``; ``says`` are names like ``cargo_empty``, each once.

    Raises:
        Refused: strict JSON codes, ``field_missing``, ``field_type``, ``field_value``, ``field_unknown``.
    """
    fields = Fields(parse_strict(data, max_bytes=len(data)), "", ("says", "text_version", "by", "at"))
    says = fields.texts("says", MOST_NAMES)
    if len(set(says)) != len(says) or not all(_NAME.fullmatch(name) for name in says):
        raise wrong("field_value", "says", "must be statement names, each once")
    return {
        "says": says,
        "text_version": fields.text("text_version"),
        "by": fields.text("by"),
        "at": fields.instant("at"),
    }, []


def read_signature(data: bytes, _: BinaryIO | None) -> tuple[SignatureFacts, list[str]]:
    """``{person, role, covers, text_version, at, method}``; ``covers`` are SHA-256 values, sorted, each once.

    Raises:
        Refused: strict JSON codes, ``field_missing``, ``field_type``, ``field_value``, ``field_unknown``.
    """
    names = ("person", "role", "covers", "text_version", "at", "method")
    fields = Fields(parse_strict(data, max_bytes=len(data)), "", names)
    covers = fields.texts("covers", MOST_COVERED, longest=64)
    if covers != sorted(set(covers)) or not all(_SHA256.fullmatch(value) for value in covers):
        raise wrong("field_value", "covers", "must be SHA-256 values in lower case, sorted, each once")
    return {
        "person": fields.text("person"),
        "role": fields.choice("role", SIGN_OFF_ROLES),
        "covers": covers,
        "text_version": fields.text("text_version"),
        "at": fields.instant("at"),
        "method": fields.text("method"),
    }, []
