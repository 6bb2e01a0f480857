"""Sans-I/O grammar of plain `value unit` lines. Not for framing or timing.

    [name = | name :] value [prefix]unit [TAGS] [*HH]

`value` is a decimal number or one of OL, O.L, OVER, INF, OPEN, NAN; `*HH` is the exclusive-or of all
characters before it, as in NMEA 0183. A line that does not fit is refused whole, so that two halves glued
together are no reading. A pattern of the user's own may take the place of the grammar.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import reduce
from operator import xor

from drivers.reading import Flag, Kind, Quantity
from drivers.units import UNITS, meaning

QUANTITIES = frozenset(UNITS.values()) | {Quantity.RESISTANCE_4W}
"""All that lines can carry."""
FLAG_OF = {"HOLD": Flag.HOLD, "REL": Flag.RELATIVE, "LOWBAT": Flag.LOW_BATTERY, "AUTO": Flag.AUTO_RANGE}
_OVER = frozenset({"OL", "O.L", "OVER", "OVERLOAD", "INF", "OPEN"})
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_WORD = r"[+-]?(?:O\.?L|OVER(?:LOAD)?|INF|OPEN|NAN)"
_UNIT = r"(?:ohms?|Ω|Ω|V(?:DC|AC)?|A(?:DC|AC)?|F|Hz|H|C|degC|°C|celsius|degF|°F|fahrenheit)"
GRAMMAR = re.compile(
    rf"\s*(?:[A-Za-z_][\w ]*\s*[=:]\s*)?(?P<value>{_WORD}|{_NUMBER})"
    rf"(?:\s*(?P<prefix>(?-i:[pnuµμmkKMG]))?(?P<unit>{_UNIT}))?"
    rf"(?P<flags>(?:\s+(?:HOLD|REL|2W|4W|LOWBAT|AUTO))*)\s*",
    re.IGNORECASE,
)
_CHECKED = re.compile(r"(?P<body>[^*]*)\*(?P<sum>[0-9A-Fa-f]{2})\s*")


@dataclass(frozen=True, slots=True)
class LineReading:
    """What one line says.

    Attributes:
        quantity: by its unit; None where the line names no unit.
        kind: as in `Reading`.
        value_si: the number in SI units (degrees Celsius for temperature); None unless kind is value.
        resolution_si: worth of the last digit printed; None without a number.
        flags: signs named in the line.
    """

    quantity: Quantity | None
    kind: Kind
    value_si: float | None
    resolution_si: float | None
    flags: frozenset[Flag]


def parse_line(text: str, pattern: re.Pattern[str] = GRAMMAR) -> LineReading | None:
    """Parse one line without its end.

    Args:
        text: the line.
        pattern: must match the whole line; has a group `value` and may have `prefix`, `unit`, `flags`.

    Returns:
        None for a comment or an empty line.

    Raises:
        ValueError: it does not fit; says why.
    """
    if not text.strip() or text.lstrip().startswith("#"):
        return None
    body = _without_checksum(text)
    match = pattern.fullmatch(body)
    if match is None:
        raise ValueError(f"{text!r} is no reading in this format")
    groups = match.groupdict()
    tags = (groups.get("flags") or "").upper().split()
    quantity, scale, offset = meaning(groups.get("prefix") or "", groups.get("unit") or "", tags)
    kind = _kind(groups["value"])
    flags = frozenset(FLAG_OF[tag] for tag in tags if tag in FLAG_OF)
    if kind is not Kind.VALUE:
        return LineReading(quantity, kind, None, None, flags)
    try:
        value_si = float(groups["value"]) * scale + offset
    except ValueError as error:
        raise ValueError(f"{groups['value']!r} in {text!r} is not a number") from error
    return LineReading(quantity, kind, value_si, last_digit(groups["value"]) * scale, flags)


def _without_checksum(text: str) -> str:
    match = _CHECKED.fullmatch(text)
    if match is None:
        return text
    computed = reduce(xor, match["body"].encode("utf-8"), 0)
    if computed != int(match["sum"], 16):
        raise ValueError(f"{text!r} has the checksum {match['sum']}, but it comes to {computed:02X}")
    return match["body"]


def _kind(value: str) -> Kind:
    word = value.strip().upper()
    if word.lstrip("+-") in _OVER:
        return Kind.NEGATIVE_OVERLOAD if word.startswith("-") else Kind.OVERLOAD
    return Kind.NO_READING if word.lstrip("+-") == "NAN" else Kind.VALUE


def last_digit(number: str) -> float:
    """Worth of the last digit of a decimal number as printed: 0.01 for `23.41`, 1e-4 for `1.047E-1`."""
    mantissa, _, exponent = number.strip().lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(f"1e{int(exponent or 0) - decimals}")
