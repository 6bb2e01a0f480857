"""SCPI's grammar as an instrument reads it: headers, parameters, numbers, error codes.

Not for what the commands do: see `speak_scpi`.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable

ERRORS = {
    0: "No error",
    -102: "Syntax error",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -151: "Invalid string data",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}
"""SCPI-99, volume 2, chapter 21.8."""


class Refused(Exception):
    """A command the meter does not take; carries the SCPI error code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"{code} {ERRORS[code]}")
        self.code = code


def long_and_short(pattern: str) -> re.Pattern[str]:
    """Compile a header such as `[SENSe:]RESistance:NPLC` to match either form, in upper case."""
    signs = {"[": "(?:", "]": ")?", ":": ":", "*": r"\*"}
    built = ""
    for word, sign in re.findall(r"(\w+)|(\W)", pattern):
        short = "".join(c for c in word if not c.islower())
        built += f"(?:{short}|{word.upper()})" if word else signs[sign]
    return re.compile(built)


def exponent(value: float) -> str:
    """A number as bench meters print it: sign, eight decimals, two-digit exponent."""
    return f"{value:+.8E}"


def flag(on: bool) -> str:
    """A Boolean as SCPI answers it."""
    return "1" if on else "0"


def only(arguments: list[str]) -> str:
    """The one parameter that must be there.

    Raises:
        Refused: when there is none, or more.
    """
    if not arguments:
        raise Refused(-109)
    if len(arguments) > 1:
        raise Refused(-108)
    return arguments[0]


def parse_number(word: str, low: float, high: float) -> float:
    """A decimal number, with OHM, KOHM or MOHM (mega, by SCPI) behind it where the sender likes."""
    match = re.fullmatch(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:E[+-]?\d+)?)\s*(\w*)", word.upper())
    if not match:
        raise Refused(-104)
    scale = {"": 1.0, "OHM": 1.0, "KOHM": 1e3, "MOHM": 1e6, "S": 1.0}.get(match[2])
    if scale is None:
        raise Refused(-131)
    value = float(match[1]) * scale
    if not low <= value <= high:
        raise Refused(-222)
    return value


def split_outside_quotes(text: str, at: str) -> list[str]:
    """Split at a character wherever it stands outside a quoted string.

    Raises:
        Refused: when a quote is not closed.
    """
    parts, quote = [""], ""
    for c in text:
        if quote:
            quote = "" if c == quote else quote
        elif c in "\"'":
            quote = c
        elif c == at:
            parts.append("")
            continue
        parts[-1] += c
    if quote:
        raise Refused(-151)
    return parts


def header_and_arguments(command: str) -> tuple[str, list[str]]:
    """A command's header and its parameters.

    Raises:
        Refused: when the header is none.
    """
    match = re.fullmatch(r"(:?\*?[A-Za-z][\w:]*\??)(?:\s+(.*))?", command)
    if not match:
        raise Refused(-102)
    rest = match[2]
    return match[1], [a.strip() for a in split_outside_quotes(rest, ",")] if rest else []


def resolve(header: str, path: str) -> tuple[str, str]:
    """The full header, and the path for what follows a semicolon (SCPI-99, 6.2.4)."""
    if header.startswith("*"):
        return header, path
    full = header[1:] if header.startswith(":") else path + header
    return full, full[: full.rfind(":") + 1]


Answer = Callable[["list[str]"], "Awaitable[str | None]"]
Row = tuple[str, bool, Answer]
"""Header as a pattern, whether it is a query, what it does."""


def fixed(text: Callable[[], str]) -> Answer:
    """A query without parameters, or with MIN or MAX, that changes nothing."""

    async def run(arguments: list[str]) -> str:
        if arguments and arguments[0].upper() not in {"MIN", "MAX"}:
            raise Refused(-108)
        return text()

    return run


def alone(act: Callable[[], Awaitable[str | None]]) -> Answer:
    """A command or query without parameters."""

    async def run(arguments: list[str]) -> str | None:
        if arguments:
            raise Refused(-108)
        return await act()

    return run


def plain(act: Callable[[], None]) -> Answer:
    """A command without parameters that is done at once."""

    async def run() -> None:
        act()

    return alone(run)


def switch(act: Callable[[bool], None]) -> Answer:
    """A command that takes ON or OFF."""

    async def run(arguments: list[str]) -> None:
        word = only(arguments).upper()
        if word not in {"ON", "OFF", "1", "0", "ONCE"}:
            raise Refused(-224)
        act(word in {"ON", "1"})

    return run
