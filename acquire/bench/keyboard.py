"""Lines from the keyboard, a pedal or a barcode scanner that types: into commands for the heart, or readings.

A scanner types a serial and Enter; a pedal or Enter alone says that the probes are on the pair; words that
begin with a full stop do the rest. What is typed from the display of a meter without a cable goes to its
driver, and back as it was understood. Not for what the commands mean (pipeline) nor for the grammar of typed
readings (drivers.handheld.typed).
"""

from __future__ import annotations

import codecs
import contextlib
import math
import re
from collections.abc import AsyncIterator, Awaitable, Callable
from difflib import get_close_matches

from acquire.clock import Clock
from acquire.errors import InputImpossible, QuantityInvalid
from acquire.quantity import parse
from acquire.records import (
    AcceptFirstUnit,
    CallGood,
    ChangeSpool,
    CheckMeter,
    Code,
    Command,
    ConfirmOpen,
    Fact,
    FinishBatch,
    GiveUpUnit,
    MeasureAgain,
    Note,
    Notice,
    OpenBatch,
    OverrideCheck,
    PauseBatch,
    Refusal,
    Refused,
    ResumeBatch,
    Severity,
    SkipStep,
    StartUnit,
    StateRange,
    TypeReading,
    TypeResult,
    TypeTemperature,
    Undo,
    ZeroLeads,
)
from acquire.records.batches import LARGEST_BATCH
from acquire.records.commands import COLDEST_CELSIUS, WARMEST_CELSIUS
from acquire.words.saying import FORMS
from drivers.frame import Decoded, FrameRefused
from drivers.handheld.typed import TypedMeter, Unclear
from drivers.models import MeterModel
from drivers.reading import Quantity
from system.incoming import typed

_UNITS = re.compile(r"([0-9]{1,9}) units?")


def opening(text: str) -> OpenBatch:
    """A batch as typed: "lot 12, 40 units, for the spring orders"; all behind the name may be left out.

    Raises:
        InputImpossible: a number of units that no batch has.
    """
    name, *parts = (part.strip() for part in text.split(","))
    expected, remarks = None, []
    for part in parts:
        units = _UNITS.fullmatch(part)
        if units is None or expected is not None:
            remarks.append(part)
            continue
        expected = int(units[1])
        if not 1 <= expected <= LARGEST_BATCH:
            raise InputImpossible(
                f"A batch of {expected} units is none.",
                f"It has 1 to {LARGEST_BATCH}; or leave the number out.",
            )
    return OpenBatch(name, expected, remark=", ".join(remarks))


def change_of_spool(text: str) -> ChangeSpool:
    """A spool as typed: "36-B", or "36-B for P1, P2"."""
    spool, _, windings = text.partition(" for ")
    return ChangeSpool(spool.strip(), windings.strip())


LONGEST_LINE = 200
"""Characters; a serial or remark is never longer, and a scanner gone wild must not fill the memory."""


def to_command(line: str) -> Command | None:
    """Turn one line into a command; None where it asks for help.

    Args:
        line: as typed, without its end.

    Raises:
        InputImpossible: a word that is not known, or one that needs a reason without it.
    """
    text = line.strip()
    if not text:
        return ConfirmOpen()
    if len(text) > LONGEST_LINE or not text.isprintable():
        raise InputImpossible("That is no serial: too long, or with characters that cannot be printed.")
    if not text.startswith("."):
        return StartUnit(text)
    word, _, rest = text.partition(" ")
    rest = rest.strip()
    if word == ".help":
        return None
    if word in ALONE:
        return ALONE[word](rest)
    if word not in WITH_MORE:
        near = get_close_matches(word, [*ALONE, *WITH_MORE], 1)
        meant = f"Did you mean {near[0]}? " if near else ""
        raise InputImpossible(f"{word} is no command.", f"{meant}.help lists them all.")
    if not rest:
        raise InputImpossible(f"{word} needs something behind it.", f"Write {FORMS[word]}.")
    return WITH_MORE[word](rest)


ALONE: dict[str, Callable[[str], Command]] = {
    ".again": lambda step: MeasureAgain(step or None),
    ".undo": lambda _: Undo(),
    ".learn": CallGood,
    ".zero": lambda _: ZeroLeads(),
    ".check": lambda _: CheckMeter(),
    ".result": TypeResult,
    ".pause": PauseBatch,
    ".resume": ResumeBatch,
    ".finish": FinishBatch,
}
"""Words that need nothing behind them, with what they make of anything that is there."""


def _temperature(text: str) -> TypeTemperature:
    """A temperature as a person reads it off; whether it can be of a room is asked here, slips are common."""
    try:
        celsius = parse(text, "°C")
    except QuantityInvalid as error:
        raise InputImpossible(error.what, error.hint) from error
    if not COLDEST_CELSIUS <= celsius <= WARMEST_CELSIUS:
        raise InputImpossible(
            f"{celsius:g} °C is no temperature of a workshop.",
            f"It must lie between {COLDEST_CELSIUS:g} and {WARMEST_CELSIUS:g} °C.",
        )
    return TypeTemperature(celsius)


def _range(text: str) -> StateRange:
    """A range as it stands on a dial: "200", "2k", "20 Mohm"."""
    unit = "" if text.lower().endswith(("ohm", "ohms", "ω", "Ω")) else "ohm"
    try:
        return StateRange(parse(f"{text.replace('K', 'k')}{unit}", "ohm"))
    except QuantityInvalid as error:
        raise InputImpossible(error.what, f"Write {FORMS['.dial']}.") from error


WITH_MORE: dict[str, Callable[[str], Command]] = {
    ".skip": SkipStep,
    ".end": GiveUpUnit,
    ".note": Note,
    ".override": OverrideCheck,
    ".temperature": _temperature,
    ".dial": _range,
    ".read": TypeReading,
    ".batch": opening,
    ".spool": change_of_spool,
    ".accept": AcceptFirstUnit,
}
"""Words that need something behind them, with what they make of it."""

COMMAND_WORDS = frozenset(word.removeprefix(".") for word in (".help", *ALONE, *WITH_MORE))
"""What a serial is asked about when it begins with it: somebody may have forgotten the full stop."""

RUB_OUT = "\x15"
"""Ctrl-U, which takes the whole line back on every terminal (termios VKILL)."""


class Keyboard:
    """Standard input, read without holding up the loop.

    On a terminal, keys are taken one by one and what is being typed is handed to `typing`, so that a living
    last line can show it; elsewhere whole lines are read.
    """

    def __init__(self, typing: Callable[[str], None] = lambda _text: None) -> None:
        """Take standard input as it is.

        Args:
            typing: told the line so far after every key.
        """
        self._typing = typing
        self._text = ""
        self._after_return = False
        self._decode = codecs.getincrementaldecoder("utf-8")("replace")

    async def lines(self) -> AsyncIterator[str]:
        """Give each line when it ends; returns at the end of the input, or at once where there is none."""
        async with contextlib.aclosing(typed()) as pieces:
            async for piece in pieces:
                for line in self._split(piece):
                    yield line

    async def followed(
        self,
        obey: Callable[[Command], Awaitable[object]],
        tell: Callable[[Notice], Awaitable[None]],
        clock: Clock,
        help_code: Code = Code.COMMAND_HELP,
    ) -> None:
        """Carry out what is typed until the input ends.

        Args:
            obey: carries a command out.
            tell: told what is no command, and who asks for help.
            clock: for the time of notices.
            help_code: of the notice that lists the commands.
        """
        async for line in self.lines():
            try:
                command = to_command(line)
            except InputImpossible as error:
                said = {"said": str(error)}
                await tell(Notice(Severity.WARNING, Code.COMMAND_UNKNOWN, clock.utc_s(), facts=said))
                continue
            if command is None:
                await tell(Notice(Severity.REMARK, help_code, clock.utc_s()))
            else:
                await obey(command)

    def _split(self, chunk: bytes) -> list[str]:
        finished = []
        for character in self._decode.decode(chunk):
            second_half = character == "\n" and self._after_return  # many scanners send both: one Enter
            self._after_return = character == "\r"
            if second_half:
                continue
            if character in "\r\n":
                finished.append(self._text)
                self._text = ""
            elif character in "\x7f\b":
                self._text = self._text[:-1]
            elif character == RUB_OUT:
                self._text = ""
            elif len(self._text) <= LONGEST_LINE:
                self._text += character
        self._typing(self._text)
        return finished


MILLI_TO_MEGA = 1e9


async def no_meter_is_read_off(text: str) -> dict[str, Fact]:
    """A bench with a cable takes no typed readings.

    Raises:
        Refused: always.
    """
    del text
    raise Refused(Refusal.READING_BY_METER)


def into(meter: TypedMeter, model: Callable[[], MeterModel]) -> Callable[[str], Awaitable[dict[str, Fact]]]:
    """What takes typed lines for a meter.

    Args:
        meter: its driver.
        model: its meter file now, which states what its display can show.
    """

    async def type_in(text: str) -> dict[str, Fact]:
        """Give a line as it was understood. Raises: Refused: it was not, or not surely."""
        try:
            decoded = meter.understood(text)
        except Unclear as error:
            raise _unclear(text, *error.meanings) from error
        except FrameRefused as error:
            raise Refused(Refusal.READING_NONE, typed=text) from error
        _refuse_unshown(text, decoded, model())
        await meter.take(decoded, text)
        facts: dict[str, Fact] = {"typed": text}
        if decoded.value_si is not None and decoded.resolution_si is not None:
            return {**facts, "ohm": decoded.value_si, "resolution_ohm": decoded.resolution_si}
        full_si = decoded.range_full_scale_si
        return facts if full_si is None else {**facts, "full_ohm": full_si}

    return type_in


def _refuse_unshown(text: str, decoded: Decoded, model: MeterModel) -> None:
    """Digits that no range of the meter shows are a slip, or another meter's."""
    value, count = decoded.value_si, decoded.resolution_si
    ranges = model.ranges_of(Quantity.RESISTANCE)
    if value is None or count is None or not ranges:
        return
    fits = (abs(value) <= each.largest_si and count >= 0.99 * each.resolution_si for each in ranges)
    if not any(fits):
        raise Refused(
            Refusal.READING_NOT_SHOWN, typed=text, model=model.name, ohm=value, resolution_ohm=count
        )


def _unclear(text: str, low_ohm: float, high_ohm: float) -> Refused:
    if math.isinf(high_ohm):
        return Refused(Refusal.READING_ONE_OR_OVER, typed=text)
    if high_ohm >= 0.5 * MILLI_TO_MEGA * low_ohm:
        return Refused(Refusal.READING_MILLI_OR_MEGA, typed=text)
    return Refused(Refusal.READING_POINT_OR_THOUSAND, typed=text, low_ohm=low_ohm, high_ohm=high_ohm)
