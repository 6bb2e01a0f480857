"""How a code and its facts become a sentence; how ohms, numbers, chances, forms and dates are written."""

from __future__ import annotations

import math
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


def ohm_text(ohm: float, digits: int = 4) -> str:
    """A resistance as a person says it: 0.394 Ω, 214.6 Ω, 4.908 kΩ, "open".

    Args:
        ohm: any value; infinite reads "open".
        digits: significant digits to keep.
    """
    if math.isinf(ohm):
        return "open"
    for size, unit in ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω")):
        if abs(ohm) >= size:
            return f"{_rounded(ohm / size, digits)} {unit}"
    return f"{ohm:.{digits}g} Ω" if abs(ohm) >= 1e-4 else "0 Ω"


def at_most(ohm: float) -> str:
    """An upper bound with two digits, rounded up: 0.9 Ω stands for 0.81 to 0.90."""
    if not (math.isfinite(ohm) and ohm > 0.0):
        return ohm_text(ohm)
    step = 10.0 ** (math.floor(math.log10(ohm)) - 1)
    return ohm_text(math.ceil(round(ohm / step, 6)) * step, 2)


def is_code(name: str) -> bool:
    """Whether a winding has a code for its name, such as P1, rather than a word that takes an article."""
    return any(sign.isdigit() for sign in name)


def within(name: str) -> str:
    """A winding as it is named within a sentence: "the trigger", "winding P1"."""
    return f"winding {name}" if is_code(name) else f"the {name}"


def capital(text: str) -> str:
    """A text as a sentence begins."""
    return text[:1].upper() + text[1:]


def number(value: float) -> str:
    """Two significant digits, without an exponent."""
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "unlimited"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(0, digits)}f}"


def sureness(probability: float) -> str:
    """A probability in words that never claims certainty: "over 99 %", "52 %"."""
    return "over 99 %" if probability > 0.99 else f"{100.0 * probability:.0f} %"


def _rounded(value: float, digits: int) -> str:
    before = len(str(int(abs(value))))
    return f"{value:.{max(0, digits - before)}f}"
