"""Refusals of impossible numbers, a sentence each. Not for values beyond a limit: those are judged."""

from __future__ import annotations

import math
from collections.abc import Sequence

from acquire.errors import InputImpossible

ABSOLUTE_ZERO_CELSIUS = -273.15


def finite(value: float, what: str) -> float:
    """The value, unless it is infinite or not a number.

    Args:
        value: any number.
        what: what it is, with its unit, as it should read in the sentence.

    Raises:
        InputImpossible: it is infinite or not a number.
    """
    if not math.isfinite(value):
        raise InputImpossible(
            f"{what} is {value!r}, which is not a finite number.", "Measure or type it again."
        )
    return value


def all_finite(values: Sequence[float], what: str) -> None:
    """Raise InputImpossible, as `finite`, for the first that is infinite or not a number."""
    if not all(map(math.isfinite, values)):
        for value in values:
            finite(value, what)


def at_least_zero(value: float, what: str) -> float:
    """The value, unless it is negative or not a finite number.

    Raises:
        InputImpossible: it is below zero, infinite or not a number.
    """
    if finite(value, what) < 0.0:
        raise InputImpossible(f"{what} is {value:g}, but cannot be negative.", "Give zero or more.")
    return value


def above_zero(value: float, what: str) -> float:
    """The value, unless it is zero, negative or not a finite number.

    Raises:
        InputImpossible: it is zero or below, infinite or not a number.
    """
    if finite(value, what) <= 0.0:
        raise InputImpossible(f"{what} is {value:g}, but must be above zero.", "Give a positive number.")
    return value


def probability(value: float, what: str) -> float:
    """The value, unless it lies outside 0 to 1, both ends excluded.

    Raises:
        InputImpossible: it is not strictly between 0 and 1.
    """
    if not 0.0 < value < 1.0:
        raise InputImpossible(f"{what} is {value!r}, but must lie between 0 and 1.", "Write 5 % as 0.05.")
    return value


def temperature(celsius: float, what: str = "the temperature in degrees Celsius") -> float:
    """The temperature, unless it lies below absolute zero (-273.15 °C, SI Brochure 9th ed., 2.3.1).

    Raises:
        InputImpossible: it is below absolute zero, infinite or not a number.
    """
    if finite(celsius, what) < ABSOLUTE_ZERO_CELSIUS:
        raise InputImpossible(
            f"{what} is {celsius:g}, which is below absolute zero.", "Check the thermometer and its unit."
        )
    return celsius


COLDEST_CELSIUS, HOTTEST_CELSIUS = -60.0, 300.0
"""Of a winding on a bench, in deep frost or fresh from the oven; workshop choice."""

MOST_LEAD_OHM = 100.0
"""Of two probes held together; more is a broken lead. Workshop choice."""


def of_winding(celsius: float) -> float:
    """The temperature, unless no winding on a bench or in an oven has it. Raises: InputImpossible."""
    if not COLDEST_CELSIUS <= celsius <= HOTTEST_CELSIUS:
        raise InputImpossible(
            f"{celsius:g} °C is no temperature of a winding on a bench or in an oven.",
            f"It must lie between {COLDEST_CELSIUS:g} and {HOTTEST_CELSIUS:g} °C.",
        )
    return celsius


def of_leads(ohm: float) -> float:
    """The resistance, unless no leads have it. Raises: InputImpossible."""
    if not 0.0 <= ohm <= MOST_LEAD_OHM:
        raise InputImpossible(
            f"Leads cannot have {ohm:g} Ω.",
            f"Give what the held-together probes show, 0 to {MOST_LEAD_OHM:g} Ω.",
        )
    return ohm
