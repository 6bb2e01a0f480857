"""Numbers with their unit as people write them in files, and SI values as people read them.

    parse("2.2 kohm")             -> 2200.0
    parse("6 %", "1")             -> 0.06
    show(4908.4, "Ω")             -> "4.908 kΩ"
    counted(1, "verdict")         -> "1 verdict"

Strict on purpose: the list of units is closed, a number without a unit is refused, and so is everything that
could be read in two ways ("1,5 ohm", "4k7", "10 Kohm"). Counts of
things are worded here too. Not for unit arithmetic and not for meter output.
Sources: unit symbols and prefixes of the SI Brochure, 9th edition (2019), tables 4, 7 and 8.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from types import MappingProxyType
from typing import Annotated

from pydantic import PlainValidator
from pydantic_core import PydanticCustomError

from acquire.errors import QuantityInvalid, quoted

LONGEST = 60
"""More characters than any sensible quantity has."""

_POWER: Mapping[str, int] = MappingProxyType(
    {
        "": 0,
        "p": -12,
        "n": -9,
        "u": -6,
        "\u00b5": -6,
        "\u03bc": -6,
        "m": -3,
        "c": -2,
        "k": 3,
        "M": 6,
        "G": 9,
        "T": 12,
    }
)
"""Power of ten by prefix. The micro sign comes in two code points, U+00B5 and U+03BC."""

_MICRO = ("u", "\u00b5", "\u03bc")


@dataclass(frozen=True, slots=True)
class _Kind:
    """One quantity: what it is called and how its units may be written.

    Attributes:
        words: for messages, e.g. "a resistance".
        example: a text that parses.
        units: unit as written -> (power of ten, factor) that lead to SI.
    """

    words: str
    example: str
    units: Mapping[str, tuple[int, float]]


def _spelt(symbols: Iterable[str], prefixes: Iterable[str]) -> dict[str, tuple[int, float]]:
    prefixes = tuple(prefixes)
    return {prefix + symbol: (_POWER[prefix], 1.0) for symbol in symbols for prefix in prefixes}


_OHM_SIGNS = ("ohm", "\u03a9", "\u2126")
"""The word, the Greek capital omega U+03A9 and the ohm sign U+2126."""

KINDS: Mapping[str, _Kind] = MappingProxyType(
    {
        "ohm": _Kind("a resistance", "47.5 ohm", _spelt(_OHM_SIGNS, ("", "m", *_MICRO, "k", "M", "G", "T"))),
        "1": _Kind("a fraction", "5 %", {"%": (-2, 1.0), "ppm": (-6, 1.0)}),
        "°C": _Kind("a temperature", "20 °C", {"°C": (0, 1.0), "℃": (0, 1.0), "C": (0, 1.0)}),
        "K": _Kind("a difference of temperature", "0.5 K", _spelt("K", ("", "m"))),
        "V": _Kind("a voltage", "500 V", _spelt("V", ("", "m", *_MICRO, "k"))),
        "A": _Kind("a current", "10 mA", _spelt("A", ("", "m", *_MICRO, "n", "k"))),
        "H": _Kind("an inductance", "860 mH", _spelt("H", ("", "m", *_MICRO, "n"))),
        "F": _Kind("a capacitance", "220 nF", _spelt("F", ("", "m", *_MICRO, "n", "p"))),
        "Hz": _Kind("a frequency", "50 Hz", _spelt(("Hz",), ("", "k", "M"))),
        "s": _Kind(
            "a time",
            "8 h",
            _spelt("s", ("", "m", *_MICRO)) | {"min": (0, 60.0), "h": (0, 3600.0), "d": (0, 86400.0)},
        ),
        "m": _Kind("a length", "62 mm", _spelt("m", ("", "c", "m", *_MICRO, "k"))),
        "kg": _Kind("a mass", "250 g", {"g": (-3, 1.0), "kg": (0, 1.0), "mg": (-6, 1.0)}),
    }
)
"""Quantities by their SI unit; "1" is a pure number, written as a percentage or in ppm. No other units exist
here. A capital K before ohm is refused: K is the kelvin, and kilo is a small k."""

_WELL_FORMED = re.compile(
    r"(?P<digits>[+-]?[0-9]+(?:\.[0-9]+)?)(?:[eE](?P<power>[+-]?[0-9]{1,3}))?"
    r"[ \u00a0\u202f]*(?P<unit>[^\s0-9]*)"
)


def parse(text: str, unit: str = "ohm") -> float:
    """Read a number with its unit.

    A decimal point, no comma; a power of ten as in 1e-3 is allowed; a space before the unit or none. The
    result is the nearest float to what was written: prefixes shift the decimal exponent.

    Args:
        text: as written, e.g. "23.4 mohm".
        unit: SI unit that the quantity must have, a key of `KINDS`.

    Returns:
        The value in that SI unit; a fraction for "%" and "ppm"; degrees Celsius for "°C".

    Raises:
        QuantityInvalid: one sentence what is wrong, and how to write it.
    """
    kind = KINDS[unit]
    plain = text.strip(" \u00a0\u202f")
    match = _WELL_FORMED.fullmatch(plain) if len(plain) <= LONGEST else None
    if match is None or match["unit"] not in kind.units:
        raise _refusal(plain, kind)
    power, factor = kind.units[match["unit"]]
    value = float(f"{match['digits']}e{int(match['power'] or 0) + power}") * factor
    if math.isinf(value):
        raise QuantityInvalid(f"{quoted(plain)} is too large a number.", "Check its power of ten.")
    return value


LIMITS: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "ohm": (0.0, 1e15),
        "1": (0.0, 1.0),
        "°C": (-60.0, 300.0),
        "K": (0.0, 100.0),
        "s": (0.0, 366 * 86400.0),
        "V": (0.0, 1e5),
        "H": (0.0, 1e6),
        "m": (0.0, 1e5),
        "kg": (0.0, 1e5),
    }
)
"""Between what a quantity can lie that somebody states, in a file or by hand. Wider than any workshop: they
catch a slip of the prefix, and keep arithmetic finite."""


def possible(text: str, unit: str = "ohm", least: float | None = None, most: float | None = None) -> float:
    """Read a number with its unit that somebody states.

    Args:
        text: as of `parse`.
        unit: as of `parse`.
        least: smallest value allowed, SI; None: by `LIMITS`.
        most: largest, likewise.

    Raises:
        QuantityInvalid: it is none, or lies beyond them.
    """
    value, limits = parse(text, unit), LIMITS[unit]
    least, most = limits[0] if least is None else least, limits[1] if most is None else most
    if not least <= value <= most:
        bounds = f"It must lie between {show(least, unit, digits=3)} and {show(most, unit, digits=3)}."
        raise QuantityInvalid(f"{quoted(text)} is not possible here.", bounds)
    return value


_MISTAKES: tuple[tuple[re.Pattern[str], str, str], ...] = (
    (re.compile(r"[+-]?[0-9.]+,[0-9]"), "has a comma in its number", "Write a decimal point: 1.5, not 1,5."),
    (re.compile(r"[+-]?(nan|inf|infinity|infinite)\b", re.IGNORECASE), "is not a finite number", ""),
    (
        re.compile(r"[+-]?[0-9]+[RrkKMmGu\u00b5][0-9]"),
        "has a letter in place of the decimal point",
        'Write 4.7 kohm, not "4k7".',
    ),
    (
        re.compile(r"[+-]?[0-9.]+[_ \u00a0\u202f'][0-9]"),
        "has a gap in its number",
        "Write the digits without gaps, one number only.",
    ),
    (
        re.compile(r"[+-]?(\.[0-9]+|[0-9]+\.)(?![0-9])"),
        "has a decimal point without a digit on both sides",
        "Write 0.5 or 5, not .5 or 5.",
    ),
    (re.compile(r"[+-]?[0-9]+(\.[0-9]+)?[eE][+-]?[0-9]{4}"), "has an impossible power of ten", ""),
)
"""How numbers are miswritten: (what it looks like, what is wrong, what to do)."""

_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]{1,3}(?![0-9]))?")


def _refusal(text: str, kind: _Kind) -> QuantityInvalid:
    """Say what is wrong with a text that is no quantity of this kind, and how to write it."""
    shown = quoted(text)
    example = f'Write it like "{kind.example}".'
    if not text:
        return QuantityInvalid(f"An empty text is not {kind.words}.", example)
    if len(text) > LONGEST:
        return QuantityInvalid(f"{shown} is too long to be {kind.words}.", example)
    for mistake, what, remedy in _MISTAKES:
        if mistake.match(text):
            return QuantityInvalid(f"{shown} {what}.", remedy or example)
    if number := _NUMBER.match(text):
        return _unit_refused(text, text[number.end() :].strip(), kind, example)
    return QuantityInvalid(f"{shown} is not {kind.words}.", example)


def _unit_refused(text: str, unit: str, kind: _Kind, example: str) -> QuantityInvalid:
    """The number is in order, what follows is not."""
    shown = quoted(text)
    if not unit:
        return QuantityInvalid(f"{shown} has no unit.", example)
    if len(unit.split()) > 1:
        return QuantityInvalid(f"{shown} has text behind its unit.", f"{example} Nothing may follow.")
    if unit.startswith("K") and "k" + unit[1:] in kind.units:
        return QuantityInvalid(
            f"{shown} has a capital K for kilo.", f"Write k{unit[1:]}; a capital K is the kelvin."
        )
    for other in KINDS.values():
        if other is not kind and unit in other.units:
            return QuantityInvalid(f"{shown} is {other.words}, not {kind.words}.", example)
    near = _near(unit, kind.units)
    remedy = f'Did you mean "{near}"? {example}' if near else f"{example} Its units: {_listed(kind)}."
    return QuantityInvalid(f"{shown} has the unknown unit {quoted(unit)}.", remedy)


def _near(unit: str, known: Iterable[str]) -> str:
    """The unit that was probably meant; empty where there is none, or more than one that differ in size."""
    known = list(known)
    same = [each for each in known if each.lower() in (unit.lower(), unit.lower().removesuffix("s"))]
    if len(same) > 1:
        return ""  # mohm or Mohm: a factor of a thousand million is not to be guessed
    return next(iter(same or get_close_matches(unit, known, 1, 0.75)), "")


def _listed(kind: _Kind) -> str:
    return ", ".join(unit for unit in kind.units if unit.isascii() or unit == "°C")


_SHOWN_PREFIXES: Mapping[str, str] = MappingProxyType(
    {"ohm": "µmkMG", "Ω": "µmkMG", "V": "µmk", "A": "nµm", "H": "µm", "F": "pnµm", "Hz": "kM", "m": "m"}
)
"""Prefixes that `show` may put before a unit; micro is the sign µ, U+00B5."""

_LARGEST = 1e15
"""Beyond this, and below its inverse, a value is shown as a power of ten: no bench has such a thing."""

_FINEST = -18
"""Power of ten of the last digit that is ever shown."""

_SMALL_OHM_STAYS = 1e-3
"""Windings of a fraction of an ohm are spoken of in ohms; below this, in milliohms and microohms."""


def show(
    value_si: float,
    unit: str,
    uncertainty_si: float | None = None,
    *,
    resolution_si: float | None = None,
    digits: int = 4,
) -> str:
    """Write a value the way a person reads it off: "0.3939 Ω", "202.6 Ω", "4.908 kΩ", "290 µΩ".

    With an uncertainty the last digit shown is that of the uncertainty's second digit (JCGM 100:2008, 7.2.6:
    no more than two digits of an uncertainty matter); with a resolution it is the meter's own last digit;
    else `digits` significant digits are shown. A prefix keeps at most three digits before the point.

    Args:
        value_si: any float; infinite reads "open" for ohms and "over range" for others.
        unit: as it shall be written: "Ω" on screens, "ohm" for what goes into a file; "1" shows a percentage.
        uncertainty_si: expanded uncertainty, same unit.
        resolution_si: worth of one count, same unit; counts only without an uncertainty.
        digits: significant digits where neither is given.
    """
    if not math.isfinite(value_si):
        return "no number" if math.isnan(value_si) else ("open" if unit in ("ohm", "Ω") else "over range")
    if unit == "1":
        value_si, unit = 100.0 * value_si, "%"
        uncertainty_si = None if uncertainty_si is None else 100.0 * uncertainty_si
        resolution_si = None if resolution_si is None else 100.0 * resolution_si
    if abs(value_si) >= _LARGEST or 0.0 < abs(value_si) < 1.0 / _LARGEST:
        return f"{value_si:.{digits - 1}e} {unit}"
    last = _last_place(value_si, uncertainty_si, resolution_si, digits)
    if value_si == 0.0 and uncertainty_si is None and resolution_si is None and unit in ("ohm", "Ω"):
        last -= 1  # as its neighbours below an ohm are shown: 0.0000 beside 0.0012
    prefix = _prefix_for(value_si, unit, last)
    places = max(0, _POWER[prefix] - last)
    scaled = round(value_si, -last) / float(f"1e{_POWER[prefix]}")
    number = f"{scaled:.{places}f}"
    if float(number) == 0.0:
        number = number.lstrip("-")
    return f"{number} {prefix}{unit}"


def with_uncertainty(value_si: float, expanded_si: float | None, unit: str = "Ω") -> str:
    """A value and its expanded uncertainty with one unit: "202.47 ± 0.48 Ω"; arguments as of `show`."""
    text = show(value_si, unit, expanded_si)
    if not expanded_si or not math.isfinite(expanded_si):
        return text
    number, _, shown = text.partition(" ")
    places = len(number.partition(".")[2])
    reach = expanded_si / float(f"1e{_POWER[shown.removesuffix(unit)]}")
    return f"{number} ± {reach:.{places}f} {shown}"


def counted(count: int, one: str, many: str = "") -> str:
    """How many there are, in words that fit the number: "1 verdict", "2 verdicts", "0 verdicts".

    Args:
        count: how many.
        one: what one of them is called.
        many: what several are called; empty: `one` with an s.
    """
    return f"{count} {one if count == 1 else many or one + 's'}"


def percent(fraction: float, sign: str = "") -> str:
    """A fraction in per cent to two digits, and never rounded up to all of it: "0.34 %", "99.6 %", "153 %".

    Args:
        fraction: of one.
        sign: "+" shows that of a positive one too.
    """
    value = 100.0 * fraction
    digits = ".2g" if abs(value) < 99.5 else ".1f" if abs(value) < 100.0 else ".0f"
    return f"{value:{sign}{digits}} %"


def chance(p: float) -> str:
    """A probability by chance as reports print it: "p = 0.012", "p < 0.001"; no powers of ten."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"


def _last_place(value: float, uncertainty: float | None, resolution: float | None, digits: int) -> int:
    """Power of ten of the last digit to show."""
    if uncertainty is not None and math.isfinite(uncertainty) and uncertainty > 0.0:
        return max(_power(float(f"{uncertainty:.1e}")) - 1, _FINEST)
    if resolution is not None and math.isfinite(resolution) and resolution > 0.0:
        return max(_power(resolution), _FINEST)
    return (_power(float(f"{value:.{digits - 1}e}")) if value else 0) - digits + 1


def _power(value: float) -> int:
    """Power of ten of the first digit."""
    return int(f"{value:e}".partition("e")[2])


def _prefix_for(value: float, unit: str, last: int) -> str:
    """The prefix that leaves one to three digits before the point, or none."""
    allowed = _SHOWN_PREFIXES.get(unit, "")
    size = abs(round(value, -last))
    if size == 0.0 or (unit in ("ohm", "Ω") and _SMALL_OHM_STAYS <= size < 1.0):
        return ""
    ranked: list[str] = sorted(("", *allowed), key=lambda prefix: _POWER[prefix])
    fitting = [prefix for prefix in ranked if float(f"1e{_POWER[prefix]}") <= size * (1 + 1e-12)]
    return fitting[-1] if fitting else ranked[0]


def _setting(unit: str, least: float, most: float | None = None) -> Callable[[object], float]:
    """Make the check of one setting of a file; its arguments are those of `possible`."""

    def check(given: object) -> float:
        kind = KINDS[unit]
        if not isinstance(given, str):
            number = f"{given} has no unit" if type(given) in (int, float) else f"this is not {kind.words}"
            raise _fault(f"{number}.", f'Write it as a text with its unit, like "{kind.example}".')
        try:
            return possible(given, unit, least, most)
        except QuantityInvalid as error:
            raise _fault(error.what, error.hint) from error

    return check


def _fault(what: str, remedy: str) -> PydanticCustomError:
    """An error of `acquire.files.toml_file`'s kind: a sentence and its remedy."""
    return PydanticCustomError("sentence", "{what} {remedy}", {"what": what, "remedy": remedy})


Ohm = Annotated[float, PlainValidator(_setting("ohm", 1e-9))]
ZeroOrMoreOhm = Annotated[float, PlainValidator(_setting("ohm", 0.0))]
Fraction = Annotated[float, PlainValidator(_setting("1", 1e-9))]
Celsius = Annotated[float, PlainValidator(_setting("°C", -60.0, 150.0))]
Kelvin = Annotated[float, PlainValidator(_setting("K", 1e-6))]
Seconds = Annotated[float, PlainValidator(_setting("s", 1e-6))]
Volt = Annotated[float, PlainValidator(_setting("V", 1e-9))]
Henry = Annotated[float, PlainValidator(_setting("H", 1e-12))]
Metre = Annotated[float, PlainValidator(_setting("m", 1e-6))]
Kilogram = Annotated[float, PlainValidator(_setting("kg", 1e-6))]
"""Settings of a file, each written as a text with its unit; the value is in the SI unit of the name."""
