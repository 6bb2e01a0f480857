"""Sans-I/O: the one grammar of answers and lines that carry a number as text, and units of measure in them.

    [name = | name :] value [prefix]unit [TAGS] [*HH]

`value` is a decimal number, or a word for an overload or for no reading; `*HH` is the exclusive-or of all
characters before it, as in NMEA 0183. What does not fit whole is refused: it is never cut, and two halves
glued together are no reading. What a meter sends beside that it must be told in `AnswerOptions`. Not for
framing or timing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, reduce
from operator import xor
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from drivers.reading import Flag, Kind, Quantity

PREFIXES = {"": 1.0, "p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "K": 1e3,
            "M": 1e6, "G": 1e9}  # fmt: skip
"""SI prefixes (SI brochure, 9th edition, table 7), and K, which some rigs write for kilo."""

UNITS: dict[str, Quantity] = {
    "ohm": Quantity.RESISTANCE,
    "ohms": Quantity.RESISTANCE,
    "ω": Quantity.RESISTANCE,
    "ohm4w": Quantity.RESISTANCE_4W,
    "v": Quantity.VOLTAGE_DC,
    "vdc": Quantity.VOLTAGE_DC,
    "vac": Quantity.VOLTAGE_AC,
    "a": Quantity.CURRENT_DC,
    "adc": Quantity.CURRENT_DC,
    "aac": Quantity.CURRENT_AC,
    "f": Quantity.CAPACITANCE,
    "far": Quantity.CAPACITANCE,
    "h": Quantity.INDUCTANCE,
    "hz": Quantity.FREQUENCY,
    "c": Quantity.TEMPERATURE,
    "degc": Quantity.TEMPERATURE,
    "°c": Quantity.TEMPERATURE,
    "cel": Quantity.TEMPERATURE,
    "celsius": Quantity.TEMPERATURE,
}
_FAHRENHEIT = frozenset({"fah", "degf", "°f", "fahrenheit"})


def meaning(prefix: str, unit: str, tags: Sequence[str] = ()) -> tuple[Quantity | None, float, float]:
    """Quantity, scale and offset to SI for a unit of measure."""
    if prefix not in PREFIXES:
        raise ValueError(f"{prefix!r} is no SI prefix")
    name = unit.replace(" ", "").lower().replace("Ω".lower(), "ω")
    if not name:
        return None, PREFIXES[prefix], 0.0
    if name in _FAHRENHEIT:
        return Quantity.TEMPERATURE, PREFIXES[prefix] * 5 / 9, -32 * 5 / 9
    quantity = UNITS.get(name)
    if quantity is None:
        raise ValueError(f"{unit!r} is no unit of measure known here")
    if quantity is Quantity.RESISTANCE and "4W" in tags:
        quantity = Quantity.RESISTANCE_4W
    return quantity, PREFIXES[prefix], 0.0


QUANTITIES = frozenset(UNITS.values()) | {Quantity.RESISTANCE_4W}
"""All that an answer with a unit can carry."""
FLAG_OF = {"HOLD": Flag.HOLD, "REL": Flag.RELATIVE, "LOWBAT": Flag.LOW_BATTERY, "AUTO": Flag.AUTO_RANGE}
"""Tags that every meter may send."""
OVERLOAD_AT = 9.0e37
"""From this magnitude on a number means "beyond range" (SCPI-1999: infinity is sent as 9.9E37)."""
NOT_A_NUMBER_AT = 9.905e37
"""From this magnitude on it means "no number" (SCPI-1999: not-a-number is sent as 9.91E37)."""

_WIRES = frozenset({"2W", "4W"})
_OVER = frozenset({"OL", "O.L", "OVER", "OVERLOAD", "INF", "OPEN"})
_NONE = frozenset({"NAN"})
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_UNIT = r"(?:ohms?(?:4W)?|Ω|Ω|V ?(?:DC|AC)|V|A ?(?:DC|AC)|A|FAR|F|Hz|H"
_UNIT += r"|C|CEL|degC|°C|celsius|FAH|degF|°F|fahrenheit)"
_CHECKED = re.compile(r"(?P<body>[^*]*)\*(?P<sum>[0-9A-Fa-f]{2})\s*")
_OPTIONS = "in [meter.options]"


class AnswerOptions(BaseModel):
    """How one meter's answers look where they are more than a number and its unit.

    Attributes:
        fields: how many fields an answer may have; any other number is refused.
        field: which of them is the reading, counted from 0; -1 is the last.
        unit_field: which of them is the unit; None where it stands behind the number, or nowhere.
        ignored_fields: which of them say nothing that is wanted; every other one must be named.
        separator: what stands between fields.
        decimal: what stands before the decimals; with "," another separator must be stated.
        status_field: which field says how good the reading is; None where none does.
        status_good: its words for a good reading; any word that is not stated here or below is refused.
        overload_words: what stands for "beyond range", besides OL, O.L, OVER, OVERLOAD, INF and OPEN.
        no_reading_words: what stands for "nothing measured", besides NAN.
        flag_words: words behind the unit or in the status, besides HOLD, REL, LOWBAT and AUTO, and the sign
            that each stands for, such as `{ HLD = "hold" }`.
        overload_at_si: numbers from this magnitude on mean "beyond range"; None keeps to SCPI's 9.9E37.
        overload_values: numbers that mean "beyond range", to the precision of a 32-bit float; SI units.
        no_reading_values: numbers that mean "nothing measured", likewise.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    fields: Annotated[tuple[Annotated[int, Field(ge=1, le=20)], ...], Field(min_length=1)] = (1,)
    field: int = 0
    unit_field: int | None = None
    ignored_fields: tuple[int, ...] = ()
    separator: Annotated[str, Field(min_length=1, max_length=4)] = ","
    decimal: Literal[".", ","] = "."
    status_field: int | None = None
    status_good: tuple[str, ...] = ()
    overload_words: tuple[str, ...] = ()
    no_reading_words: tuple[str, ...] = ()
    flag_words: dict[str, Flag] = {}
    overload_at_si: Annotated[float, Field(gt=0)] | None = None
    overload_values: tuple[float, ...] = ()
    no_reading_values: tuple[float, ...] = ()

    @model_validator(mode="after")
    def _has_its_fields(self) -> Self:
        fewest, most = min(self.fields), max(self.fields)
        places = {"field": self.field, "unit_field": self.unit_field, "status_field": self.status_field}
        for name, place in places.items():
            if place is not None and not -fewest <= place < fewest:
                raise ValueError(f"{name} = {place} is not among {fewest} fields: state fields, too")
        named = {place % most for place in (*places.values(), *self.ignored_fields) if place is not None}
        if unnamed := set(range(most)) - named:
            raise ValueError(
                f"nothing says what field {min(unnamed)} of {most} is (the first is 0): name it as field, "
                "unit_field, status_field or among ignored_fields"
            )
        if self.separator == self.decimal:
            raise ValueError("separator and decimal are the same: state another separator")
        return self

    @property
    def flags(self) -> frozenset[Flag]:
        """All signs that an answer can carry."""
        return frozenset(FLAG_OF.values()) | frozenset(self.flag_words.values())


@dataclass(frozen=True, slots=True)
class Answer:
    """What one answer says.

    Attributes:
        kind: as in `Reading`.
        value_si: the number in SI units (degrees Celsius for temperature); None unless kind is value.
        quantity: by its unit; None where it names none.
        resolution_si: worth of the last digit printed; None without a number.
        flags: signs named in it.
    """

    kind: Kind
    value_si: float | None = None
    quantity: Quantity | None = None
    resolution_si: float | None = None
    flags: frozenset[Flag] = frozenset()


_PLAIN = AnswerOptions()


def parse_answer(
    text: str, options: AnswerOptions = _PLAIN, pattern: re.Pattern[str] | None = None
) -> Answer | None:
    """Parse one answer without its end.

    Args:
        text: the answer.
        options: how it looks.
        pattern: of the user's own, in place of fields and grammar: must match the whole answer; has a group
            `value` and may have `prefix`, `unit` and `flags`.

    Returns:
        None for a comment or an empty line.

    Raises:
        ValueError: it does not fit; says why, with the option that would make it fit.
    """
    if not text.strip() or text.lstrip().startswith("#"):
        return None
    body = _without_checksum(text)
    if pattern is not None:
        match = pattern.fullmatch(body)
        if match is None:
            raise ValueError(f"{text!r} does not match the pattern {_OPTIONS}")
        groups = match.groupdict()
        tags = (groups.get("flags") or "").split()
        return _meant(groups, tags, options, None)
    part, status = _fields(body, options)
    words = part.split()
    tags = [*status]
    while len(words) > 1 and (words[-1].upper() in _WIRES or _flag(words[-1], options)):
        tags.append(words.pop())
    match = _grammar((*options.overload_words, *options.no_reading_words)).fullmatch(" ".join(words))
    if match is None:
        raise ValueError(
            f"{part.strip()!r} is no number with a unit known here: pattern, overload_words or flag_words "
            f"{_OPTIONS} would say what it is"
        )
    return _meant(match.groupdict(), tags, options, _of_status(status, options))


def _without_checksum(text: str) -> str:
    match = _CHECKED.fullmatch(text)
    if match is None:
        return text
    computed = reduce(xor, match["body"].encode("utf-8"), 0)
    if computed != int(match["sum"], 16):
        raise ValueError(f"{text!r} has the checksum {match['sum']}, but it comes to {computed:02X}")
    return match["body"]


def _fields(body: str, options: AnswerOptions) -> tuple[str, list[str]]:
    """The field of the reading, and the words of the status."""
    parts = body.split(options.separator)
    if len(parts) not in options.fields:
        wanted = " or ".join(map(str, options.fields))
        raise ValueError(f"it has {len(parts)} fields instead of {wanted} (fields and field {_OPTIONS})")
    part = parts[options.field]
    if options.unit_field is not None:
        part = f"{part.strip()} {parts[options.unit_field].strip()}"
    if options.status_field is None:
        return part, []
    words = parts[options.status_field].split()
    good = {word.upper() for word in options.status_good}
    known = good | _upper(options.overload_words) | _upper(options.no_reading_words)
    for word in words:
        if word.upper() not in known and _flag(word, options) is None:
            raise ValueError(f"its status is {word!r}, which is not among status_good {_OPTIONS}")
    return part, [word for word in words if word.upper() not in good]


def _of_status(words: Iterable[str], options: AnswerOptions) -> Kind | None:
    """What a status makes of the number beside it; None: nothing."""
    said = {word.upper() for word in words}
    if said & _upper(options.overload_words):
        return Kind.OVERLOAD
    return Kind.NO_READING if said & _upper(options.no_reading_words) else None


def _meant(
    groups: Mapping[str, str | None], tags: Sequence[str], options: AnswerOptions, stated: Kind | None
) -> Answer:
    named = [tag.upper() for tag in tags]
    quantity, scale, offset = meaning(groups.get("prefix") or "", groups.get("unit") or "", named)
    found = {tag: _flag(tag, options) for tag in tags}
    strange = [tag for tag, flag in found.items() if flag is None and tag.upper() not in _WIRES]
    if strange and stated is None:
        raise ValueError(f"{strange[0]!r} is no sign known here: flag_words {_OPTIONS} would say what it is")
    flags = frozenset(flag for flag in found.values() if flag is not None)
    value = (groups["value"] or "").strip()
    kind = stated or _kind(value, options)
    if kind is not Kind.VALUE:
        below = stated is Kind.OVERLOAD and value.startswith("-")
        return Answer(Kind.NEGATIVE_OVERLOAD if below else kind, None, quantity, None, flags)
    digits = _digits(value, options)
    number = parse_number(digits)
    if number.value_si is None:
        return Answer(number.kind, None, quantity, None, flags)
    value_si = float(f"{number.value_si * scale + offset:.15g}")
    if (sentinel := _sentinel(value_si, options)) is not None:
        return Answer(sentinel, None, quantity, None, flags)
    return Answer(Kind.VALUE, value_si, quantity, last_digit(digits) * scale, flags)


def _digits(value: str, options: AnswerOptions) -> str:
    if options.decimal == ",":
        if "." in value:
            raise ValueError(f"{value!r} has a point, but decimal is a comma {_OPTIONS}")
        return value.replace(",", ".")
    return value


def _sentinel(value_si: float, options: AnswerOptions) -> Kind | None:
    if among(value_si, options.no_reading_values):
        return Kind.NO_READING
    limit_si = options.overload_at_si
    if among(value_si, options.overload_values) or (limit_si is not None and abs(value_si) >= limit_si):
        return Kind.OVERLOAD if value_si > 0 else Kind.NEGATIVE_OVERLOAD
    return None


def among(number: float, sentinels: Iterable[float]) -> bool:
    """Whether it is one of them as a 32-bit float holds it: 1e30 comes back as 1.0000000150474662e30."""
    return any(math.isclose(number, each, rel_tol=2.0**-23) for each in sentinels)


def _kind(value: str, options: AnswerOptions) -> Kind:
    word = value.upper()
    over, none = _OVER | _upper(options.overload_words), _NONE | _upper(options.no_reading_words)
    for each in (word, word.lstrip("+-")):  # a word may begin with a sign, or consist of them
        if each in none:
            return Kind.NO_READING
        if each in over:
            return Kind.NEGATIVE_OVERLOAD if each != word and word.startswith("-") else Kind.OVERLOAD
    return Kind.VALUE


def _flag(word: str, options: AnswerOptions) -> Flag | None:
    own = {name.upper(): flag for name, flag in options.flag_words.items()}
    return own.get(word.upper()) or FLAG_OF.get(word.upper())


def _upper(words: Iterable[str]) -> frozenset[str]:
    return frozenset(word.upper() for word in words)


@cache
def _grammar(words: tuple[str, ...]) -> re.Pattern[str]:
    """The grammar, with a meter's own words."""
    known = "|".join(re.escape(word) for word in sorted({*words, *_OVER, *_NONE}, key=len, reverse=True))
    number = _NUMBER.replace(r"\.", "[.,]")
    return re.compile(
        rf"\s*(?:[A-Za-z_][\w ]*\s*[=:]\s*)?(?P<value>[+-]?(?:{known})|{number})"
        rf"(?:\s*(?P<prefix>(?-i:[pnuµμmkKMG]))?(?P<unit>{_UNIT}))?\s*",
        re.IGNORECASE,
    )


# ---------------------------------------------------------------------- numbers

_WHOLE = re.compile(_NUMBER)
_WORDS = {"NAN": Kind.NO_READING, "INF": Kind.OVERLOAD, "+INF": Kind.OVERLOAD, "-INF": Kind.NEGATIVE_OVERLOAD}


def parse_number(text: str) -> Answer:
    """Parse one number, by its value and never by its spelling.

    Raises:
        ValueError: the text is not one whole number.
    """
    word = text.strip()
    if word.upper() in _WORDS:
        return Answer(_WORDS[word.upper()])
    if _WHOLE.fullmatch(word) is None:
        raise ValueError(f"{text!r} is not a number")
    if last_digit(word) == 0.0:
        raise ValueError(f"{text[:40]!r} is no number that a meter shows: it has too many decimals")
    value = float(word)
    size = abs(value)
    if size >= NOT_A_NUMBER_AT and not math.isinf(value):
        return Answer(Kind.NO_READING)
    if size >= OVERLOAD_AT:
        return Answer(Kind.OVERLOAD if value > 0 else Kind.NEGATIVE_OVERLOAD)
    return Answer(Kind.VALUE, value)


def last_digit(number: str) -> float:
    """Worth of the last digit of a decimal number as printed: 0.01 for `23.41`, 1e-4 for `1.047E-1`."""
    mantissa, _, exponent = number.strip().lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return float(f"1e{int(exponent or 0) - decimals}")
