"""A typed result taken apart: its name, its value, and what the person says of how it was measured.

    insulation = >200 Mohm, 500 V, 21 °C, by IR-2, accuracy 5 %
    L slow charge = 855 mH, 1 kHz, against 861 mH, within 3 %, accuracy 0.5 %
    surge = no difference seen, pass, by S-1

What stands behind the value is told apart by its unit or its first word, in any order. Not for judging it
(typed).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from acquire.errors import InputImpossible, QuantityInvalid
from acquire.quantity import possible
from acquire.records import Outcome

HOW = (
    "NAME = VALUE, then, separated by commas and in any order: 500 V, 1 kHz, 21 °C, by INSTRUMENT, "
    "accuracy 5 %, within 3 %, against VALUE or NAME, rule NAME, pass or fail."
)

LONGEST_NUMBER = 60
"""Characters; more than any instrument shows, and too few for infinity."""

_HERTZ = re.compile(r"([0-9]+(?:\.[0-9]+)?) *(k?)Hz")
_PLAIN = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_STATED = {"pass": Outcome.PASS, "fail": Outcome.FAIL}


@dataclass(frozen=True, slots=True)
class TypedLine:
    """What a typed line says.

    Attributes:
        name: in front of the sign of equality.
        value_si, unit: number with "ohm", "H" or "" as its unit; None for words.
        words: the value where it is none.
        at_least: the value stands behind ">".
        test_volt, hertz, celsius: None where not told.
        instrument: empty where not told; accuracy: fraction of reading, None where not told.
        within: tolerance against the pattern as a fraction.
        against: the pattern as typed: a value or a name.
        rule: name of a temperature rule, empty where not told.
        stated: the person's own verdict.
    """

    name: str
    value_si: float | None = None
    unit: str = ""
    words: str = ""
    at_least: bool = False
    test_volt: float | None = None
    hertz: float | None = None
    celsius: float | None = None
    instrument: str = ""
    accuracy: float | None = None
    within: float | None = None
    against: str = ""
    rule: str = ""
    stated: Outcome | None = None


def typed_line(text: str) -> TypedLine:
    """Take a line apart.

    Raises:
        InputImpossible: there is no name or value, or something behind it means nothing.
    """
    name, equals, rest = text.partition("=")
    value, *parts = (part.strip() for part in rest.split(","))
    if not (name.strip() and equals and value):
        raise InputImpossible(f'"{text.strip()}" is no result.', f"Write {HOW}")
    number = number_of(value)
    said: dict[str, Any] = {}
    if number is not None:
        said = {"value_si": number[0], "unit": number[1], "at_least": value.startswith(">")}
    elif value in _STATED:
        said = {"words": value, "stated": _STATED[value]}
    else:
        said = {"words": value}
    for part in parts:
        key, meant = _part(part)
        if key in said:
            raise InputImpossible(f'"{part}" says something for the second time.', "Say it once.")
        said[key] = meant
    return TypedLine(name.strip(), **said)


def number_of(text: str) -> tuple[float, str] | None:
    """The number of a value or pattern with the SI unit it leads to; None where the text is words.

    Raises:
        InputImpossible: it begins like a number and is none.
    """
    bare = text.removeprefix(">").strip()
    if not bare[:1].isdigit():
        return None
    if _PLAIN.fullmatch(bare) and len(bare) <= LONGEST_NUMBER:
        return float(bare), ""
    for unit in ("ohm", "H", "V"):
        try:
            return possible(bare, unit), unit
        except QuantityInvalid as error:
            refused = error
    raise InputImpossible(f'"{bare}" is no value.', refused.hint or "Write it like 120 Mohm or 855 mH.")


def _part(part: str) -> tuple[str, object]:
    """What one part behind the value says: the field it belongs to, and its content."""
    head, _, rest = part.partition(" ")
    rest = rest.strip()
    if part in _STATED:
        return "stated", _STATED[part]
    if head in ("accuracy", "within"):
        return head, _quantity(rest, "1", part)
    if head in ("against", "rule", "by") and rest:
        return {"by": "instrument"}.get(head, head), rest
    bare = rest if head == "at" else part
    if len(bare) <= LONGEST_NUMBER and (match := _HERTZ.fullmatch(bare)):
        return "hertz", float(match[1]) * (1000.0 if match[2] else 1.0)
    for key, unit in (("test_volt", "V"), ("celsius", "°C")):
        try:
            return key, possible(bare, unit)
        except QuantityInvalid:
            continue
    raise InputImpossible(f'"{part}" means nothing here.', f"Write {HOW}")


def _quantity(text: str, unit: str, part: str) -> float:
    try:
        return possible(text, unit)
    except QuantityInvalid as error:
        raise InputImpossible(f'"{part}": {error.what}', error.hint) from error
