"""The self-check of a meter whose byte format is known from memory only. Sans-I/O.

Three contacts tell a right decoder from a plausible wrong one: shorted leads must read near nothing, open
leads beyond range, and a resistor of known value its value. Until then no verdict may rest on that meter. The
daemon keeps who passed when; this is only what to ask and how to judge it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from drivers.meter import Capabilities
from drivers.reading import OHMS, Kind, Reading

SHORT_AT_MOST_OHM = 2.0
"""Leads and contact of a hand meter together are below this; common practice, no source."""
RESISTOR_SHARE = 0.03
"""A 1 % resistor on a 1 % meter stays within this; a wrong decimal point or digit does not."""
AGREEING = 3
"""So many readings in a row must say the same."""


@dataclass(frozen=True, slots=True)
class CheckStep:
    """One contact of the self-check.

    Attributes:
        name: short, open or resistor.
        expected_ohm: what must be read; None for beyond range.
        within_ohm: how far off it may be.
    """

    name: Literal["short", "open", "resistor"]
    expected_ohm: float | None
    within_ohm: float = 0.0


def needs_self_check(capabilities: Capabilities) -> bool:
    """Tell whether a meter must pass the self-check before any verdict."""
    return capabilities.verification == "memory" and bool(capabilities.quantities & OHMS)


def self_check_steps(resistor_ohm: float) -> tuple[CheckStep, ...]:
    """The contacts, in order.

    Args:
        resistor_ohm: value of the resistor at hand, better far from a power of ten: 470 rather than 100.

    Raises:
        ValueError: the resistor is too small to be told from a short.
    """
    if not 5 * SHORT_AT_MOST_OHM <= resistor_ohm <= 1e7:
        raise ValueError(
            f"take a resistor from {5 * SHORT_AT_MOST_OHM:g} ohm to 10 Mohm, not {resistor_ohm:g} ohm"
        )
    return (
        CheckStep("short", 0.0, SHORT_AT_MOST_OHM),
        CheckStep("open", None),
        CheckStep("resistor", resistor_ohm, RESISTOR_SHARE * resistor_ohm + SHORT_AT_MOST_OHM),
    )


def fault_of(step: CheckStep, readings: Sequence[Reading]) -> str:
    """Judge the last readings of a step.

    Args:
        step: the contact that was asked for.
        readings: what came since, oldest first.

    Returns:
        An empty text when the step is passed, else one sentence on what is wrong.
    """
    last = readings[-AGREEING:]
    if len(last) < AGREEING:
        return f"{len(last)} of {AGREEING} readings so far."
    for reading in last:
        if reading.quantity not in OHMS:
            return f"It reads {reading.quantity.value}: set the dial to ohms."
        if step.expected_ohm is None:
            if reading.kind is not Kind.OVERLOAD:
                return f"Open probes must read beyond range, but it reads {_shown(reading)}."
        elif reading.value_si is None or abs(reading.value_si - step.expected_ohm) > step.within_ohm:
            return (
                f"It must read {step.expected_ohm:g} Ω within {step.within_ohm:g} Ω, "
                f"but it reads {_shown(reading)}."
            )
    return ""


def _shown(reading: Reading) -> str:
    return f"{reading.value_si:g} Ω" if reading.value_si is not None else reading.kind.value.replace("_", " ")
