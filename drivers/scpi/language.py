"""Sans-I/O SCPI: commands out, replies in. Not for timing, links or what to do about an error.

What a reading may look like is decided by `drivers.answers.parse_answer`. Sources: SCPI-1999 volume 1
(chapter 7: data formats) and 2 (CONFigure, READ?, SENSe, SYSTem:ERRor) and IEEE 488.2-1992 (common commands,
8.7 response data).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from drivers.answers import Answer, parse_number
from drivers.meter import Identity
from drivers.reading import Quantity

UNDEFINED_HEADER = -113
"""SCPI-1999 volume 2, 21.8.9: the meter does not know this command."""
ERROR_QUEUE_READS = 32
"""A queue holds 10 to 20 entries in the instruments whose manuals say so; then something is wrong."""

FUNCTION_OF: dict[Quantity, str] = {
    Quantity.RESISTANCE: "RES",
    Quantity.RESISTANCE_4W: "FRES",
    Quantity.CONTINUITY: "CONT",
    Quantity.DIODE: "DIOD",
    Quantity.VOLTAGE_DC: "VOLT:DC",
    Quantity.VOLTAGE_AC: "VOLT:AC",
    Quantity.CURRENT_DC: "CURR:DC",
    Quantity.CURRENT_AC: "CURR:AC",
    Quantity.CAPACITANCE: "CAP",
    Quantity.FREQUENCY: "FREQ",
    Quantity.TEMPERATURE: "TEMP",
}
"""SCPI-1999 sensor functions by quantity; what is absent here a plain multimeter cannot measure."""

_ERROR = re.compile(r'\s*(?P<code>[+-]?\d+)\s*(?:,\s*"?(?P<text>[^"]*)"?.*)?', re.DOTALL)
_CONF = re.compile(r'"?\s*(?P<function>[A-Za-z:]+)(?P<rest>[\s,].*)?', re.DOTALL)


@dataclass(frozen=True, slots=True)
class QueuedError:
    """One entry of the error queue; code 0 means the queue is empty."""

    code: int
    text: str


@dataclass(frozen=True, slots=True)
class Configuration:
    """Answer to `CONF?`: function as the meter names it, range and resolution in SI units if it told them."""

    function: str
    range_full_scale_si: float | None
    resolution_si: float | None


def parse_numbers(text: str) -> list[Answer]:
    """Parse a reply of one or several numbers with commas between.

    Raises:
        ValueError: a part is not a number.
    """
    return [parse_number(part) for part in text.split(",")]


def is_number(text: str) -> bool:
    """Tell whether a reply is one or several numbers."""
    try:
        parse_numbers(text)
    except ValueError:
        return False
    return True


def parse_error(text: str) -> QueuedError:
    """Parse an answer to `SYST:ERR?`, such as `-113,"Undefined header"`.

    Raises:
        ValueError: it does not begin with a number.
    """
    match = _ERROR.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not an entry of an error queue")
    return QueuedError(int(match["code"]), (match["text"] or "").strip())


def parse_identity(text: str) -> Identity:
    """Parse an answer to `*IDN?` leniently: four fields are the standard, fewer are met in the field."""
    fields = [field.strip() for field in text.strip().split(",", 3)]
    fields += [""] * (4 - len(fields))
    maker, model, serial, firmware = fields
    return Identity(maker, model, "" if serial == "0" else serial, firmware, text.strip())


def parse_configuration(text: str) -> Configuration:
    """Parse an answer to `CONF?`, such as `"FRES +1.000000E+02,+1.000000E-04"`.

    Raises:
        ValueError: no function name in it.
    """
    match = _CONF.fullmatch(text.strip().rstrip('"').strip())
    if match is None:
        raise ValueError(f"{text!r} is not an answer to CONF?")
    values = [_positive(part) for part in (match["rest"] or "").strip(" ,").split(",")]
    values += [None, None]
    return Configuration(match["function"].upper(), values[0], values[1])


def _positive(text: str) -> float | None:
    try:
        number = parse_number(text)
    except ValueError:
        return None
    size = number.value_si
    return size if size is not None and size > 0 else None


def same_function(one: str, other: str) -> bool:
    """Tell whether two names mean one function: `VOLT` is `VOLT:DC`, long forms are their short ones."""
    return _canonical(one) == _canonical(other)


_SHORT = {
    "RESISTANCE": "RES",
    "FRESISTANCE": "FRES",
    "CONTINUITY": "CONT",
    "DIODE": "DIOD",
    "VOLTAGE": "VOLT",
    "CURRENT": "CURR",
    "CAPACITANCE": "CAP",
    "FREQUENCY": "FREQ",
    "TEMPERATURE": "TEMP",
}


def _canonical(name: str) -> str:
    parts = [_SHORT.get(part, part) for part in name.strip('" ').upper().lstrip(":").split(":")]
    if parts and parts[0] in {"SENS", "SENSE"}:
        parts = parts[1:]
    if parts in (["VOLT"], ["CURR"]):
        parts.append("DC")
    return ":".join(parts)
