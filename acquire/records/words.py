"""Words that several records share: pairs of pins, rules, probability laws, orders of outcomes."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple

from acquire.choices import Outcome


class Pair(NamedTuple):
    """Two pins (or a pin and the core) that the probes touch, in the sheet's order of pins."""

    a: str
    b: str

    def __str__(self) -> str:
        return f"{self.a}–{self.b}"


PASSING = frozenset({Outcome.PASS, Outcome.CONDITIONAL_PASS})

FAILING = frozenset({Outcome.CONDITIONAL_FAIL, Outcome.FAIL})
"""Outcomes of a value outside its limits; such a value is asked for once more before it counts."""


class Rule(StrEnum):
    """Decision rules by name (ILAC-G8:09/2019, ISO 14253-1:2017, JCGM 106:2012)."""

    SIMPLE = "simple"
    GUARD_BAND = "guard_band"
    ISO_14253_1 = "iso_14253_1"
    NON_BINARY = "non_binary"
    MAXIMUM_RISK = "maximum_risk"


class Shape(StrEnum):
    """Probability law of one term of an uncertainty budget (JCGM 100:2008, 4.3 and 4.4)."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    U_SHAPED = "u_shaped"
