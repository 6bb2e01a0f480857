"""Tables of a bench file about its duties: the daily check standard, and typed insulation results.

configs/README.md explains each key to users. Not for reading files: that is `acquire.files.settings`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field, model_validator

from acquire.files.toml_file import Table, Text
from acquire.quantity import Celsius, Fraction, Ohm, Seconds


class OutOfControl(StrEnum):
    """What a check standard out of control means."""

    STOP = "stop"
    WARN = "warn"


class CheckSettings(Table):
    """`[check]`: a known resistor, measured at the start of a shift. Without this table none is asked for.

    Attributes:
        resistor: its name, as it goes on the record.
        value: of its certificate, or of its first careful measurement.
        uncertainty: expanded uncertainty of that (95 %, half-width).
        reference_temperature: that the value holds at.
        tempco: limits of its change with temperature, a fraction per kelvin; left out, none is counted.
        wires: 2 or 4; left out, as a winding of that value.
        every: so long a check holds.
        action: stop the bench, or warn.
        readings: so many of the latest make the chart.
    """

    resistor: Annotated[Text, Field(min_length=1, examples=['"R1"'])]
    value: Annotated[Ohm, Field(examples=['"100.012 ohm"'])]
    uncertainty: Annotated[Ohm, Field(examples=['"0.02 ohm"'])]
    reference_temperature: Celsius = 20.0
    tempco: Fraction | None = None
    wires: Literal[2, 4] | None = None
    every: Seconds = 12 * 3600.0
    action: OutOfControl = OutOfControl.STOP
    readings: Annotated[int, Field(strict=True, ge=8, le=1000)] = 50

    @model_validator(mode="after")
    def _is_a_standard(self) -> CheckSettings:
        if self.uncertainty >= 0.05 * self.value:
            raise ValueError("a check standard is known to better than 5 %: give its certified uncertainty")
        return self


class InsulationSettings(Table):
    """`[insulation]`: what is taken for granted when an insulation result is typed in.

    Attributes:
        instrument: that such results come from.
        accuracy: its limits of error as a part of the reading; left out, it is typed each time.
    """

    instrument: Text = ""
    accuracy: Fraction | None = None
