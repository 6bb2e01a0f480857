"""Tables of a bench file about its duties: the daily check standard, and typed insulation results.

configs/README.md explains each key to users. Not for reading files: that is `acquire.files.settings`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from acquire.files.toml_file import Flag, Table, Text
from acquire.physics.substitution import LINEARITY_COUNTS
from acquire.quantity import Celsius, Fraction, Ohm, Seconds


class OutOfControl(StrEnum):
    """What a check standard out of control means."""

    STOP = "stop"
    WARN = "warn"


class KnownResistor(Table):
    """A resistance that somebody knows.

    Attributes:
        resistor: its name, as it goes on the record.
        value: of its certificate, or of its first careful measurement.
        uncertainty: expanded uncertainty of that (95 %, half-width).
        reference_temperature: that the value holds at.
        tempco: limits of its change with temperature, a fraction per kelvin; left out, none is counted.
        wires: 2 or 4; left out, as a winding of that value.
        every: so long a look at it holds.
    """

    resistor: Annotated[Text, Field(min_length=1, examples=['"R1"'])]
    value: Annotated[Ohm, Field(examples=['"100.012 ohm"'])]
    uncertainty: Annotated[Ohm, Field(examples=['"0.02 ohm"'])]
    reference_temperature: Celsius = 20.0
    tempco: Fraction | None = None
    wires: Literal[2, 4] | None = None
    every: Seconds = 12 * 3600.0

    @model_validator(mode="after")
    def _is_known(self) -> Self:
        if self.uncertainty >= 0.05 * self.value:
            raise ValueError("a known resistor is known to better than 5 %: give its certified uncertainty")
        return self


class CheckSettings(KnownResistor):
    """`[check]`: a known resistor, measured at the start of a shift. Without this table none is asked for.

    Attributes:
        action: stop the bench, or warn.
        readings: so many of the latest make the chart.
    """

    action: OutOfControl = OutOfControl.STOP
    readings: Annotated[int, Field(strict=True, ge=8, le=1000)] = 50


class ReferenceSettings(KnownResistor):
    """`[[reference]]`: a known resistor, or a golden unit's pair, that values on its range are compared with.

    Attributes:
        range: full scale of the range that it is measured on; left out, the smallest that holds it.
        linearity: largest deviation of the meter from a straight line over that range, counts.
        drift: limits of the meter's change until it is measured again, as a part of the reading; left out,
            from the meter file, for the kelvin since then and half a kelvin more.
        golden: a pair of a golden unit: its temperature is that of the air, as the unit's.
        material: of the golden unit's winding.
    """

    every: Seconds = 4 * 3600.0
    range: Ohm | None = None
    linearity: Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False, strict=True)] = LINEARITY_COUNTS
    drift: Fraction | None = None
    golden: Flag = False
    material: Literal["copper", "aluminium"] = "copper"

    @model_validator(mode="after")
    def _fits_its_range(self) -> Self:
        if self.range is not None and self.range < self.value:
            raise ValueError("range is smaller than value: name a range that shows it")
        return self


class InsulationSettings(Table):
    """`[insulation]`: what is taken for granted when an insulation result is typed in.

    Attributes:
        instrument: that such results come from.
        accuracy: its limits of error as a part of the reading; left out, it is typed each time.
    """

    instrument: Text = ""
    accuracy: Fraction | None = None
