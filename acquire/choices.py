"""Words that many records share: purposes, outcomes, pairs of pins, decision rules, probability laws.

They stand below the records, since `steadyohm --help` offers some as choices and must not load those;
`acquire.records` has them too.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Purpose(StrEnum):
    """Why the bench measures; decides which limits apply."""

    INCOMING = "incoming"
    WINDING = "winding"
    FINAL = "final"
    RETURNED = "returned"


class Outcome(StrEnum):
    """Verdicts of the non-binary rule of ILAC-G8:09/2019, 4.2.3, and one for a meter too poor to judge."""

    PASS = "pass"  # noqa: S105  (a verdict, not a password)
    CONDITIONAL_PASS = "conditional_pass"  # noqa: S105
    CONDITIONAL_FAIL = "conditional_fail"
    FAIL = "fail"
    CANNOT_JUDGE = "cannot_judge"


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
