"""How a code and its facts become a sentence. Not for the sentences themselves (the other modules here)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

Facts = Mapping[str, Any]
"""Facts by name; what a sentence does with one shows whether it is there and of its kind."""

Saying = str | Callable[[Facts], str]
"""A sentence with the names of facts in braces, or what makes one of them."""


def say(saying: Saying, facts: Facts, fallback: str) -> str:
    """Make a sentence.

    Args:
        saying: from a table of this room.
        facts: that it needs.
        fallback: a name for what it is about: a record of another version may lack a fact.
    """
    try:
        return saying.format_map(facts) if isinstance(saying, str) else saying(facts)
    except (LookupError, ValueError, TypeError, AttributeError):
        return f"{fallback}: {', '.join(f'{name} {fact}' for name, fact in facts.items() if fact)}."


def joined(words: Iterable[object], last: str = "and") -> str:
    """A list in words: "a", "a and b", "a, b and c"."""
    *most, end = [str(word) for word in words] or [""]
    return f"{', '.join(most)} {last} {end}" if most else end


def pins(pair: Iterable[str]) -> str:
    """Two pins as they are written: "1–2"."""
    return "–".join(pair)
