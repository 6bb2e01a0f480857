"""Shapes that many SCPI commands share: a fixed answer, a switch, a command without parameters.

Not for what any one command does: see `speak_scpi` and `scanner`.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from sim.scpi_grammar import Refused, only, parse_number

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


def taken_number(low: float, high: float) -> Answer:
    """A setting that is checked, and has no effect here."""

    async def run(arguments: list[str]) -> None:
        parse_number(only(arguments), low, high)

    return run


def plain(act: Callable[[], None]) -> Answer:
    """A command without parameters."""

    async def run(arguments: list[str]) -> None:
        if arguments:
            raise Refused(-108)
        act()

    return run


def switch(act: Callable[[bool], None]) -> Answer:
    """A command that takes ON or OFF."""

    async def run(arguments: list[str]) -> None:
        word = only(arguments).upper()
        if word not in {"ON", "OFF", "1", "0", "ONCE"}:
            raise Refused(-224)
        act(word in {"ON", "1"})

    return run
