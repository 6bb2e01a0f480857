"""How ohms, pairs and windings are put into words for the operator. Not for units of any other quantity."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

_COUNT = {2: "both", 3: "all three", 4: "all four", 5: "all five", 6: "all six"}


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


def is_code(name: str) -> bool:
    """Whether a winding has a code for its name, such as P1, rather than a word that takes an article."""
    return any(sign.isdigit() for sign in name)


def within(name: str) -> str:
    """A winding as it is named within a sentence: "the trigger", "winding P1"."""
    return f"winding {name}" if is_code(name) else f"the {name}"


def either(names: Iterable[object]) -> str:
    """Join names as a choice: "a or b", "a, b or c"."""
    return _joined([str(name) for name in names], "or")


def both(names: Iterable[object]) -> str:
    """Join names as a list: "a and b", "a, b and c"."""
    return _joined([str(name) for name in names], "and")


def in_words(names: Sequence[str], *, in_series: bool, everything: Sequence[str]) -> str:
    """Windings of a path in words.

    Args:
        names: of the windings on the path, one or more.
        in_series: True where all of the current passes each.
        everything: names of all windings of the unit; where exactly those on the path share a word
            ("charge"), that word says it all.
    """
    if len(names) == 1:
        return names[0]
    how = "in series" if in_series else "together"
    for word in names[0].split():
        sharing = [name for name in everything if word in name.split()]
        if word not in ("winding", "coil") and sorted(sharing) == sorted(names) and len(names) in _COUNT:
            return f"{_COUNT[len(names)]} {word} windings {how}"
    return f"{_joined(names, 'and')} {how}"


def _joined(words: Sequence[str], last: str) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def _rounded(value: float, digits: int) -> str:
    before = len(str(int(abs(value))))
    return f"{value:.{max(0, digits - before)}f}"
