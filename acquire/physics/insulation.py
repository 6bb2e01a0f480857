"""Insulation resistance: brought to 40 °C by a named rule, limits by use, and the cautions to be shown.

Values come typed in or from an instrument that was started deliberately with hands off; nothing here is for
hands-free measuring. A pass of insulation says nothing of turns.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

from acquire.errors import InputImpossible
from acquire.physics.checks import above_zero, temperature

REFERENCE_CELSIUS = 40.0
"""Temperature that insulation resistance is compared at (IEEE 43)."""

CAUTIONS = (
    "Clips on, hands off: never hold the probes while the test voltage is on.",
    "Disconnect regulator, rectifier and ignition unit first; the test voltage destroys them.",
    "Discharge afterwards for at least four times as long as the test took.",
    "Do not correct a damp or wet winding: dry it and measure again.",
)
"""To be shown with every insulation step; common practice."""


@dataclass(frozen=True, slots=True)
class Halving:
    """Resistance halves for every so many kelvin.

    R_ref = R · 0.5^((t_ref - t) / step), IEEE 43-2013 for thermoplastic insulation with a step of 10 K, as
    testing firms quote it.

    Attributes:
        name: goes on the record.
        step_kelvin: temperature rise that halves the resistance, > 0.
        source: where the rule comes from.
    """

    name: str
    step_kelvin: float
    source: str

    def factor(self, celsius: float) -> float:
        """Value at 40 °C over the value at `celsius`."""
        above_zero(self.step_kelvin, "the step of the halving rule in kelvin")
        return float(0.5 ** ((REFERENCE_CELSIUS - celsius) / self.step_kelvin))


@dataclass(frozen=True, slots=True)
class FactorTable:
    """Factors by temperature, as a resin's or machine's maker gives them.

    Between two temperatures the factor's logarithm goes straight. Beyond the table there is no correction to
    be had.

    Attributes:
        name: goes on the record.
        factors: (degrees Celsius, value at 40 °C over value there), rising in temperature, two or more.
        source: where the table comes from.
    """

    name: str
    factors: tuple[tuple[float, float], ...]
    source: str

    def __post_init__(self) -> None:
        """Refuse a table that cannot be read between its lines.

        Raises:
            InputImpossible: fewer than two lines, temperatures that do not rise, or a factor not above zero.
        """
        if len(self.factors) < 2:
            raise InputImpossible(f"Table {self.name} has fewer than two lines.", "Give at least two.")
        celsius = [temperature(at) for at, _ in self.factors]
        if any(b <= a for a, b in pairwise(celsius)):
            raise InputImpossible(
                f"Table {self.name} is not in order of temperature.", "Give the lowest first."
            )
        for _, factor in self.factors:
            above_zero(factor, f"a factor of table {self.name}")

    def factor(self, celsius: float) -> float:
        """Value at 40 °C over the value at `celsius`."""
        for (t0, f0), (t1, f1) in pairwise(self.factors):
            if t0 <= celsius <= t1:
                return f0 * math.pow(f1 / f0, (celsius - t0) / (t1 - t0))
        lowest, highest = self.factors[0][0], self.factors[-1][0]
        raise InputImpossible(
            f"Table {self.name} goes from {lowest:g} to {highest:g} °C, which leaves out {celsius:g} °C.",
            "Measure within it, or name another rule.",
        )


TemperatureRule = Halving | FactorTable

RULES: Mapping[str, TemperatureRule] = MappingProxyType(
    {
        "thermoplastic": Halving(
            "thermoplastic", 10.0, "IEEE 43-2013 as quoted by testing firms: halves for every 10 K"
        )
    }
)
"""Rules that ship. Thermosetting insulation changes far less (at 20 °C by 0.25 against some 0.76): its rule
is the user's to supply as a `FactorTable`, since no published source for it could be confirmed."""


def to_reference(measured_ohm: float, celsius: float, rule: TemperatureRule) -> float:
    """Insulation resistance at `REFERENCE_CELSIUS` by a named rule, ohms.

    Args:
        measured_ohm: > 0.
        celsius: temperature of the winding.
        rule: one of `RULES` or a table of the user's.

    Raises:
        InputImpossible: a resistance not above zero, a temperature below absolute zero or outside the table.
    """
    return above_zero(measured_ohm, "the insulation resistance in ohms") * rule.factor(temperature(celsius))
