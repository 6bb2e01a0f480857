"""One meter's dialect of SCPI: its options, from a setup to commands, from an answer to a number. Sans-I/O.

SCPI is one grammar with many dialects. What differs is a text here, with places for `{function}` (the
meter's name for it), `{expected}` (in SI units), `{range_code}`, `{full_scale}` and `{plc}`. Not for sending
(`drivers.scpi.dialogue`) nor for the standard's own grammar (`drivers.scpi.language`).
"""

from __future__ import annotations

from string import Formatter
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.answers import Answer, AnswerOptions, parse_answer
from drivers.frame import Decoded, FrameProtocol, FrameRefused
from drivers.link.address import PLAIN_LINE
from drivers.link.framing import Framer, LineFramer
from drivers.meter import Setup
from drivers.reading import Quantity
from drivers.scpi import language

Seconds = Annotated[float, Field(gt=0, le=600)]
_PLACES = frozenset({"function", "expected", "range_code", "full_scale", "plc"})


class RangeCode(BaseModel):
    """One range of a meter that is told its range by a code, or whose ranges must be known.

    Attributes:
        quantity: of which function it is a range.
        full_scale_si: its full scale, SI unit, > 0.
        resolution_si: worth of one count, SI unit; None when unknown.
        code: what stands for it on the wire.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    quantity: Quantity
    full_scale_si: Annotated[float, Field(gt=0)]
    resolution_si: Annotated[float, Field(gt=0)] | None = None
    code: str = ""


class BenchMeterOptions(AnswerOptions):
    """How to talk to one bench meter; how its answers look is said by `drivers.answers.AnswerOptions`.

    Attributes:
        reply_timeout_s: longest wait for an answer, on top of the integration time; seconds.
        quiet_s: how long a drained link must have been quiet; seconds.
        silent_after: how many unanswered readings in a row end the link.
        line_end: what ends a command.
        identify: False for a meter that knows no `*IDN?`.
        proof_query: a question that is always answered at once with `proof_answer`; empty if there is none,
            then a link that got out of step is opened anew.
        proof_answer: see there.
        error_query: asks for one entry of the error queue; empty for a meter without one.
        remote_command: sent first on serial lines, where older meters want it; empty for none. An error
            about it is ignored. Prefer SYST:REM to SYST:RWL: the operator must be able to touch the meter.
        start_commands: sent after opening; errors about them are ignored.
        functions: the meter's own names of functions, where they differ; an empty name takes one away.
        configure: commands that set function and range, in order.
        configure_auto: the same when the meter is to range by itself.
        integration: command for the integration time; empty if there is none.
        compensation: command for offset-compensated ohms, sent after `configure`, which switches it off.
        function_query: asks what is set: function, and range and resolution if the meter says them; empty if
            there is no such question.
        range_query: asks the range alone, where `function_query` does not tell it.
        ranges: the meter's ranges, where it is told a code or does not tell.
        read_query: the question for one new conversion; never FETC? alone, which repeats the old one.
        check_every: the function is asked back after so many readings, and after every jump; 0 for jumps
            only.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    reply_timeout_s: Seconds = 3.0
    quiet_s: Annotated[float, Field(ge=0.01, le=10)] = 0.15
    silent_after: Annotated[int, Field(ge=1, le=100)] = 2
    line_end: str = "\n"
    identify: bool = True
    proof_query: str = "*OPC?"
    proof_answer: str = "1"
    error_query: str = "SYST:ERR?"
    remote_command: str = "SYST:REM"
    start_commands: tuple[str, ...] = ()
    functions: dict[Quantity, str] = Field(default_factory=dict)
    configure: tuple[str, ...] = ("CONF:{function} {expected}",)
    configure_auto: tuple[str, ...] = ("CONF:{function}",)
    integration: str = "SENS:{function}:NPLC {plc}"
    compensation: str = "SENS:{function}:OCOM ON"
    function_query: str = "CONF?"
    range_query: str = ""
    ranges: tuple[RangeCode, ...] = ()
    read_query: Annotated[str, Field(min_length=1)] = "READ?"
    check_every: Annotated[int, Field(ge=0)] = 50

    @field_validator("configure", "configure_auto", "integration", "compensation", "range_query")
    @classmethod
    def _knows_its_places(cls, texts: str | tuple[str, ...]) -> str | tuple[str, ...]:
        for text in (texts,) if isinstance(texts, str) else texts:
            try:
                named = {name for _, name, _, _ in Formatter().parse(text) if name is not None}
            except ValueError as error:
                raise ValueError(f"{text!r} has a brace without its partner") from error
            if not named <= _PLACES:
                unknown = ", ".join(sorted(named - _PLACES))
                raise ValueError(f"{text!r} names {{{unknown}}}; known are {', '.join(sorted(_PLACES))}")
        return texts


_AS = {Quantity.RESISTANCE_4W: Quantity.RESISTANCE, Quantity.CONTINUITY: Quantity.RESISTANCE,
       Quantity.DIODE: Quantity.VOLTAGE_DC}  # fmt: skip
"""Quantities whose answers carry the unit of another."""
_RANGELESS = frozenset({Quantity.CONTINUITY, Quantity.DIODE})


class Dialect:
    """One meter's way of saying things.

    Attributes:
        functions: the meter's name of each function it has.
    """

    def __init__(self, options: BenchMeterOptions) -> None:
        self._options = options
        names = {**language.FUNCTION_OF, **options.functions}
        self.functions: dict[Quantity, str] = {quantity: name for quantity, name in names.items() if name}

    def setup_commands(self, setup: Setup) -> list[str]:
        """Commands that set function and range.

        Raises:
            ValueError: no known range holds the expected value.
        """
        by_itself = setup.expected_si is None or setup.quantity in _RANGELESS
        texts = self._options.configure_auto if by_itself else self._options.configure
        return [self._filled(text, setup) for text in texts]

    def integration_command(self, setup: Setup) -> str:
        """Command for the wanted integration time; empty if there is none to send."""
        if setup.integration_plc is None or setup.quantity in _RANGELESS:
            return ""
        return self._filled(self._options.integration, setup)

    def compensation_command(self, setup: Setup) -> str:
        """Command for offset compensation; empty if there is none to send."""
        if not setup.offset_compensation or setup.quantity not in {
            Quantity.RESISTANCE,
            Quantity.RESISTANCE_4W,
        }:
            return ""
        return self._filled(self._options.compensation, setup)

    def range_query(self, quantity: Quantity) -> str:
        """Question for the range alone; empty if there is none."""
        return self._filled(self._options.range_query, Setup(quantity))

    def range_for(self, setup: Setup) -> RangeCode | None:
        """The finest known range that holds the expected value; None where no ranges are known.

        Raises:
            ValueError: ranges are known and none holds it.
        """
        known = [known for known in self._options.ranges if known.quantity is setup.quantity]
        if not known or setup.expected_si is None:
            return None
        wide = [known for known in known if known.full_scale_si >= abs(setup.expected_si)]
        if not wide:
            widest = max(known.full_scale_si for known in known)
            raise ValueError(f"its widest range is {widest:g}, but {setup.expected_si:g} is expected")
        return min(wide, key=lambda known: known.full_scale_si)

    def _filled(self, text: str, setup: Setup) -> str:
        found = self.range_for(setup) if "{range_code}" in text or "{full_scale}" in text else None
        return text.format(
            function=self.functions[setup.quantity],
            expected="" if setup.expected_si is None else f"{setup.expected_si:.6G}",
            range_code=found.code if found else "",
            full_scale=f"{found.full_scale_si:G}" if found else "",
            plc="" if setup.integration_plc is None else f"{setup.integration_plc:g}",
        ).strip()

    def parse_reading(self, answer: str, quantity: Quantity) -> Answer:
        """Find the reading of a quantity in an answer; what does not fit whole is refused, never cut.

        Raises:
            ValueError: there is none; says why.
        """
        found = parse_answer(answer, self._options)
        if found is None:
            raise ValueError("it is empty")
        told = found.quantity or quantity
        if _AS.get(told, told) is not _AS.get(quantity, quantity):
            raise ValueError(f"{answer!r} is no {quantity.value}")
        return found


class AnswerFormat(FrameProtocol):
    """Answers to a read query as a `FrameProtocol`; they carry no unit, so the quantity is given.

    Args:
        dialect: the meter's.
        quantity: what its numbers are taken for.
    """

    name = "scpi"
    usual_line = PLAIN_LINE
    checked = True  # by the link, USB, TCP or GPIB, and by the dialogue: an answer must fit its question
    verification = "standard"

    def __init__(self, dialect: Dialect, quantity: Quantity) -> None:
        self._dialect = dialect
        self._quantity = quantity
        self.quantities = frozenset(dialect.functions)

    def framer(self) -> Framer:
        """Lines that end in CR, LF or both."""
        return LineFramer()

    def decode(self, frame: bytes) -> Decoded:
        """Decode one answer. Raises: FrameRefused."""
        try:
            found = self._dialect.parse_reading(frame.decode(), self._quantity)
        except ValueError as error:
            raise FrameRefused(str(error)) from error
        return Decoded(self._quantity, found.kind, found.value_si, flags=found.flags)
