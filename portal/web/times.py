"""Contradicting times on a page: devices by the names that the shop gave them."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from rules.explain import ContradictionText


def with_device_names(shown: Mapping[str, Any], names_of: Callable[[], Mapping[str, str]]) -> dict[str, Any]:
    """A page with contradictions telling devices by name; where there are none, nothing is asked."""
    found: tuple[ContradictionText, ...] = shown.get("contradictions", ())
    if not found:
        return dict(shown)
    names = names_of()
    told = [replace(item, claims=tuple(_named(claim, names) for claim in item.claims)) for item in found]
    return {**shown, "contradictions": told}


def _named(text: str, names: Mapping[str, str]) -> str:
    for words, name in names.items():
        text = text.replace(words, name)
    return text
