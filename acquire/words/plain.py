"""How ohms, numbers, chances and windings are put into words. Not for units of any other quantity."""

from __future__ import annotations

import math


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
