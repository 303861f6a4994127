"""What the YAML reader stumbled over, in words for a person who has never heard of YAML."""

from collections.abc import Callable
from typing import Final

import yaml

_INDENTED: Final = "this line is indented otherwise than what it belongs to, or quotes above are not closed"
_TWO_COLONS: Final = (
    "a colon too many: put a sentence with a colon in quotes; or the line is indented too far"
)


def in_plain_words(error: yaml.MarkedYAMLError) -> str:
    """The words for the problem; what the reader itself says stands behind where none fit."""
    problem = str(error.problem or error.context or "")
    for part, words in _WORDS:
        if part in problem:
            return words(error, problem)
    return f"the form of the text breaks here ({problem})"


def _opened(error: yaml.MarkedYAMLError) -> str:
    mark = error.context_mark
    return "" if mark is None else f" on line {mark.line + 1}"


def _bracket(error: yaml.MarkedYAMLError, problem: str) -> str:
    kind = "{" if "}" in problem else "["
    return f"the bracket {kind} opened{_opened(error)} is not closed, or a comma is missing"


def _character(_error: yaml.MarkedYAMLError, problem: str) -> str:
    if "\\t" in problem:
        return "a tab stands here; indent with spaces only"
    return "a text that begins with this character must stand in quotes"


def _said(words: str) -> Callable[[yaml.MarkedYAMLError, str], str]:
    return lambda _error, _problem: words


def _unclosed(error: yaml.MarkedYAMLError, _problem: str) -> str:
    return f"quotes opened{_opened(error)} are not closed"


_WORDS: Final[tuple[tuple[str, Callable[[yaml.MarkedYAMLError, str], str]], ...]] = (
    ("that cannot start any token", _character),
    ("mapping values are not allowed here", _said(_TWO_COLONS)),
    ("expected <block end>", _said(_INDENTED)),
    ("sequence entries are not allowed here", _said(_INDENTED)),
    ("expected ',' or", _bracket),
    ("could not find expected ':'", _said("a key without a colon, or a colon without a space after it")),
    ("unexpected end of stream", _unclosed),
    ("unexpected document separator", _unclosed),
    ("expected the node content", _said("a value is missing here, or a bracket is closed too early")),
    ("unknown escape character", _said("a backslash in quotes; leave it out or write two")),
)
