"""Options of the SCPI bench meter, as `[meters.options]` of a bench file gives them."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Seconds = Annotated[float, Field(gt=0, le=600)]


class BenchMeterOptions(BaseModel):
    """How to talk to one bench meter.

    Attributes:
        reply_timeout_s: longest wait for an answer, on top of the integration time; seconds.
        quiet_s: how long a drained link must have been quiet; seconds.
        silent_after: how many unanswered readings in a row end the link.
        identify: False for a meter that knows no `*IDN?`.
        remote_command: sent first on serial lines, where older meters want it; empty for none. An error about
            it is ignored. Prefer SYST:REM to SYST:RWL: the operator must be able to touch the meter.
        read_query: the question for one new conversion; never FETC? alone, which repeats the old one.
        line_end: what ends a command.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)

    reply_timeout_s: Seconds = 3.0
    quiet_s: Annotated[float, Field(ge=0.01, le=10)] = 0.15
    silent_after: Annotated[int, Field(ge=1, le=100)] = 2
    identify: bool = True
    remote_command: str = "SYST:REM"
    read_query: Annotated[str, Field(min_length=1)] = "READ?"
    line_end: str = "\n"
