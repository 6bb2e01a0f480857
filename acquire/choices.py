"""Purposes and outcomes: the words of the records that the command line offers as choices.

They stand below the records, since `steadyohm --help` must not load those; `acquire.records` has them too.
"""

from __future__ import annotations

from enum import StrEnum


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
