"""Options of the SCPI bench meter, its dialect among them, as a bench file or a profile gives them.

SCPI is one grammar with many dialects. What differs is a text here, with places for `{function}` (the
meter's name for it), `{expected}` (in SI units), `{range_code}`, `{full_scale}` and `{plc}`. Not for what is
sent when: that is `drivers.scpi.bench_meter`.
"""

from __future__ import annotations

from string import Formatter
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator

from drivers.answers import AnswerOptions
from drivers.reading import Quantity

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
