"""How a code and its facts become a sentence, with forms and dates. Not for the sentences themselves."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from acquire.quantity import counted

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


def overdue(facts: Facts) -> str:
    """That a meter's calibration fell due, and how long ago."""
    days = facts["overdue_days"]
    ago = f"{counted(days, 'day')} ago" if days else "today"
    return f"The calibration of {facts['meter']} fell due {ago}."


_LINES = {
    "The unit": (".undo", ".again [step]", ".skip REASON", ".end REASON", ".note TEXT"),
    "Good units": (".learn [NAME]",),
    "The bench": (".zero", ".temperature 21.5 °C"),
    "The meter": (".read 20.6", ".dial 2k", ".check", ".override REASON"),
    "Other instruments": (".result NAME = VALUE, ...",),
    "Batches": (".batch NAME, 40 units", ".pause", ".resume [NAME]", ".finish"),
    "Spools": (".spool NAME for WINDINGS", ".accept REASON"),
    "This": (".help",),
}
"""By what it is about."""

FORMS = {form.split(" ")[0]: form for forms in _LINES.values() for form in forms}
"""Each word with what belongs behind it."""

HELP = "\n".join(
    [
        "Type or scan a serial and press Enter to put a unit on the bench.",
        "Enter alone: the probes are on the pair.",
        *(f"{about}: {'  '.join(forms)}" for about, forms in _LINES.items()),
    ]
)
"""What can be typed, line by line."""

STUDY_HELP = (
    "Enter: you have the probes and begin. A part's label: measure that one next. .again [label]: the last "
    "one did not go well, measure it again.  .zero  .temperature 21.5 °C  .note TEXT  .help  Ctrl-C: stop; "
    "the same command continues it later."
)
"""What can be typed in a study."""
