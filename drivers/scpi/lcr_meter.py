"""LCR meters that speak SCPI: a primary and a secondary value and a status in one answer.

The answer carries no unit, so the measuring function is set and asked back. One reading per conversion: the
value that the step wants. Not for handheld sets that send records of their own.

Sources: reply format and status words as printed in a maker's LCR manual; commands from memory of the same
family (`FUNC:IMP`, `FREQ`, `VOLT`, `APER`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, ClassVar

from pydantic import Field

from drivers.answers import Answer, parse_number
from drivers.frame import FrameProtocol
from drivers.meter import Capabilities, Setup
from drivers.reading import Kind, Quantity
from drivers.scpi.bench_meter import BenchMeter
from drivers.scpi.dialect import AnswerFormat, BenchMeterOptions, Dialect

STATUS_WORDS = {
    -1: "no data in the buffer",
    0: "normal",
    1: "bridge unbalanced",
    2: "converter not working",
    3: "source overloaded",
    4: "level cannot be held",
}
_SUSPECT = frozenset({3, 4})  # the numbers are real, but not of the conditions that were asked for
_FIELD_OF = {
    Quantity.INDUCTANCE: ("LSQ", 0),
    Quantity.QUALITY_FACTOR: ("LSQ", 1),
    Quantity.CAPACITANCE: ("CPD", 0),
    Quantity.DISSIPATION_FACTOR: ("CPD", 1),
    Quantity.RESISTANCE: ("DCR", 0),
}


class LcrOptions(BenchMeterOptions):
    """Conditions of an LCR measurement, on top of those of `BenchMeterOptions`.

    Attributes:
        frequency_hz: of the test signal; 0 leaves it as it is.
        level_v: of the test signal, volts; 0 leaves it. Use one level before and after a rewind.
        aperture: SHOR, MED or LONG, and averages behind a comma.
        accept_suspect: True takes numbers whose source was overloaded or whose level was not held.
    """

    frequency_hz: Annotated[float, Field(ge=0, le=1e7)] = 1000.0
    level_v: Annotated[float, Field(ge=0, le=20)] = 1.0
    aperture: str = "MED,1"
    accept_suspect: bool = False
    function_query: str = "FUNC:IMP?"
    read_query: Annotated[str, Field(min_length=1)] = "*TRG"


def parse_triple(text: str) -> tuple[Answer, Answer, int]:
    """Parse `primary,secondary,status[,bin]`; gives the two values and the status.

    Raises:
        ValueError: it is not of that form, or has a status that does not exist.
    """
    parts = text.strip().split(",")
    if len(parts) not in {3, 4}:
        raise ValueError(f"{text!r} has {len(parts)} fields instead of three or four")
    try:
        status, *_ = map(int, parts[2:])
    except ValueError as error:
        raise ValueError(f"{text!r} has a status or bin that is no whole number") from error
    if status not in STATUS_WORDS:
        raise ValueError(f"{text!r} has the status {status}, which does not exist")
    return parse_number(parts[0]), parse_number(parts[1]), status


class LcrDialect(Dialect):
    """What is said to an LCR meter and how its answers are read."""

    def __init__(self, options: LcrOptions) -> None:
        super().__init__(options)
        self._lcr = options
        names = {quantity: name for quantity, (name, _) in _FIELD_OF.items()}
        self.functions = {quantity: name for quantity, name in {**names, **options.functions}.items() if name}

    def setup_commands(self, setup: Setup) -> list[str]:
        """Commands that set function and test signal."""
        function = self.functions[setup.quantity]
        commands = [f"FUNC:IMP {function}", "FUNC:IMP:RANG:AUTO ON", f"APER {self._lcr.aperture}"]
        if function != "DCR":
            commands += [f"FREQ {self._lcr.frequency_hz:g}"] if self._lcr.frequency_hz else []
            commands += [f"VOLT {self._lcr.level_v:g}"] if self._lcr.level_v else []
        return [*commands, "TRIG:SOUR BUS"]

    def integration_command(self, setup: Setup) -> str:  # noqa: ARG002 - the aperture stands in the options
        """None: the aperture is an option."""
        return ""

    def compensation_command(self, setup: Setup) -> str:  # noqa: ARG002 - as above
        """None."""
        return ""

    def parse_reading(self, answer: str, quantity: Quantity) -> Answer:
        """Find the wanted value in a triple. Raises: ValueError."""
        *values, status = parse_triple(answer)
        if status == 1:
            return Answer(Kind.OVERLOAD)
        if status in {-1, 2} or (status in _SUSPECT and not self._lcr.accept_suspect):
            return Answer(Kind.NO_READING)
        return values[_FIELD_OF[quantity][1]]


class LcrMeter(BenchMeter):
    """An LCR meter; fulfils `drivers.meter.Meter`."""

    Options: ClassVar[type[BenchMeterOptions]] = LcrOptions
    capabilities: Capabilities = replace(
        BenchMeter.capabilities, quantities=frozenset(_FIELD_OF), verification="memory"
    )

    @classmethod
    def decoder(cls, options: BenchMeterOptions) -> FrameProtocol:
        """Give the sans-I/O half alone; answers carry no unit and are taken for an inductance."""
        return AnswerFormat(LcrDialect(_lcr(options)), Quantity.INDUCTANCE)

    def _make_dialect(self) -> Dialect:
        return LcrDialect(_lcr(self._options))


def _lcr(options: BenchMeterOptions) -> LcrOptions:
    return options if isinstance(options, LcrOptions) else LcrOptions()
