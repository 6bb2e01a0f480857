"""The keys of a bench file that concern a fixture on a switch card: `[fixture]`.

configs/README.md explains each key to users. Not for reading files: that is `acquire.files.settings`.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any

from pydantic import Field, model_validator

from acquire.files.bench_tables import Link
from acquire.files.toml_file import Flag, Table, Text
from acquire.quantity import Seconds

Channel = Annotated[int, Field(strict=True, ge=0, le=99_999_999)]
Bus = dict[str, Channel]


class Pairs(StrEnum):
    """Which pairs a fixture measures of each unit."""

    ALL = "all"
    SHEET = "sheet"


class FixtureSettings(Table):
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
            raise ValueError("a channel stands there twice: each leads to one pin on one bus")
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
