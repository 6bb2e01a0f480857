"""Tables of a bench file about its duties, a fixture and the shop that prints its papers.

configs/README.md explains each key to users. Not for reading files (settings), drawing anything (reports), or
looking into a logo's file: that is done when a paper is made.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from acquire.files.bench_tables import FilePath, Link
from acquire.files.toml_file import Flag, Text, TomlTable
from acquire.physics.substitution import LINEARITY_COUNTS
from acquire.quantity import Celsius, Fraction, Metre, Ohm, Seconds


class OutOfControl(StrEnum):
    """What a check standard out of control means."""

    STOP = "stop"
    WARN = "warn"


class KnownResistor(TomlTable):
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


class InsulationSettings(TomlTable):
    """`[insulation]`: what is taken for granted when an insulation result is typed in.

    Attributes:
        instrument: that such results come from.
        accuracy: its limits of error as a part of the reading; left out, it is typed each time.
    """

    instrument: Text = ""
    accuracy: Fraction | None = None


Channel = Annotated[int, Field(strict=True, ge=0, le=99_999_999)]
Bus = dict[str, Channel]


class Pairs(StrEnum):
    """Which pairs a fixture measures of each unit."""

    ALL = "all"
    SHEET = "sheet"


class FixtureSettings(TomlTable):
    """`[fixture]`: a switch card takes the place of the hands. Without this table hands hold the probes.

    Attributes:
        high: channel that brings each pin to the meter's high side.
        low: channel that brings each pin to its low side; the same pins.
        sense_high: channels of the sense wires; left out, they move along by themselves, or there are none.
        sense_low: likewise.
        link: address of a card of its own; left out, it is a module in the meter, on the meter's link.
        pairs: every pair of pins, or the steps of the sheet alone.
        separate_contacts: each bus reaches a pin by a contact of its own (Kelvin clips).
        zero_pin: brought to both sides to zero the leads; left out, the first of `high`.
        standard: two pins that the check standard's resistor is wired to; left out, it is held by hand.
        strong_current: the meter tests with 0.1 A or more.
        current_off: command that switches its test current off.
        discharge: how long a winding then gets to discharge before a relay opens; seconds.
        options: of the card's dialect.
    """

    high: Annotated[Bus, Field(min_length=2, examples=["{ 1 = 101, 2 = 102 }"])]
    low: Annotated[Bus, Field(min_length=2, examples=["{ 1 = 201, 2 = 202 }"])]
    sense_high: Bus = Field(default_factory=dict)
    sense_low: Bus = Field(default_factory=dict)
    link: Link | None = None
    pairs: Pairs = Pairs.ALL
    separate_contacts: Flag = False
    zero_pin: Text = ""
    standard: tuple[Text, Text] | None = None
    strong_current: Flag = False
    current_off: Text = ""
    discharge: Seconds | None = None
    options: dict[str, Any] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _hangs_together(self) -> FixtureSettings:
        buses = [self.high, self.low, *([self.sense_high, self.sense_low] if self.sense_high else [])]
        if any(set(bus) != set(self.high) for bus in buses) or bool(self.sense_high) != bool(self.sense_low):
            raise ValueError("every bus must reach the same pins: give each a channel on all of them")
        channels = [channel for bus in buses for channel in bus.values()]
        if len(set(channels)) != len(channels):
            raise ValueError("a channel is given twice: each leads to one pin on one bus")
        if strange := {self.zero_pin, *(self.standard or ())} - {"", *self.high}:
            raise ValueError(f"no channel is given for {min(strange)}: name a pin that has one")
        if self.strong_current and not (self.current_off and self.discharge):
            raise ValueError(
                "0.1 A in a winding must end before a relay opens: give current_off and discharge as well"
            )
        if self.current_off and self.link is not None:
            raise ValueError("current_off is sent to the meter, so the card must share its link")
        return self

    @property
    def card_options(self) -> dict[str, Any]:
        """The card's dialect with what this table says of currents."""
        found = {"current_off": self.current_off, "discharge_s": self.discharge or 0.0, **self.options}
        return {key: value for key, value in found.items() if value not in ("", 0.0)}


LOGO_ENDINGS = (".svg", ".png")


class ShopSettings(TomlTable):
    """`[shop]`: the heading of papers. Without this table they carry the bench's name only.

    Attributes:
        name: of the shop.
        address: its lines.
        logo: an SVG or PNG file in the bench file's folder or below it.
        authorised: who answers for certificates; a line for a signature stands above the name.
        paper: size of certificates and reports.
        label_width, label_height: of the label for a unit, metres.
    """

    name: Annotated[Text, Field(min_length=1, max_length=80, examples=['"Otterbeck Rewinds"'])]
    address: Annotated[
        tuple[Annotated[Text, Field(max_length=80)], ...],
        Field(max_length=6, examples=['["3 Mill Lane", "Otterbeck"]']),
    ] = ()
    logo: FilePath | None = None
    authorised: Annotated[Text, Field(max_length=80)] = ""
    paper: Literal["A4", "Letter"] = "A4"
    label_width: Metre = 0.050
    label_height: Metre = 0.025

    @field_validator("logo", mode="after")
    @classmethod
    def _is_beside_the_file(cls, logo: FilePath | None, info: ValidationInfo) -> FilePath | None:
        """A paper shows nothing from elsewhere on the machine, wherever a link or a ".." leads."""
        if logo is None:
            return None
        if logo.suffix.lower() not in LOGO_ENDINGS:
            raise ValueError("a logo is an SVG or PNG file")
        folder = (info.context or {}).get("folder")
        if folder is not None and not logo.is_relative_to(folder.resolve()):
            raise ValueError("the logo must lie in the folder of the bench file or below it")
        return logo

    @field_validator("label_width", "label_height", mode="after")
    @classmethod
    def _can_be_stuck_on(cls, side: float) -> float:
        if not 0.010 <= side <= 0.200:
            raise ValueError("a label measures between 10 mm and 200 mm")
        return side
