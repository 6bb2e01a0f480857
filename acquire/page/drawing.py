"""A sheet as the page draws it: the connector's face, the circuit behind it, the steps with their limits.

Pure; plain JSON values come out. Not for what has been measured (unit_view).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from acquire.page.telling import picked
from acquire.quantity import show
from acquire.records import BranchKind, Limits, Purpose, Sheet, Step, StepKind
from acquire.steps.pairs import PairTable

Plain = dict[str, Any]


def face(sheet: Sheet) -> Plain:
    """The connector's face, seen from the side that the sheet draws it from."""
    pins = [picked(pin, "name", "row", "column", "colour", "remark") for pin in sheet.pins]
    return {**picked(sheet, "view", "latch", "core"), "rows": list(map(list, sheet.rows)), "pins": pins}


def circuit(sheet: Sheet) -> Plain:
    """The branches of the circuit with their nominal values."""
    return {
        "branches": [
            {
                **picked(branch, "name", "a", "b", "kind"),
                "text": "" if branch.kind is BranchKind.DIODE else show(branch.reference_ohm, "Ω"),
            }
            for branch in sheet.branches
        ]
    }


def steps(table: PairTable, purpose: Purpose) -> list[Plain]:
    """Every step of a table's sheet, none of them done."""
    return [_step(step, table, purpose) for step in table.sheet.steps]


def _step(step: Step, table: PairTable, purpose: Purpose) -> Plain:
    limits = "" if step.kind is StepKind.TYPED else limits_words(table.limits_for(step, purpose))
    return {**undone(step.name, step.pair, step.kind.value), "limits": limits}


def undone(name: str, pair: Sequence[str], kind: str = "resistance") -> Plain:
    """A step that nothing is known of yet."""
    known = {"name": name, "pair": list(pair), "kind": kind}
    return {**known, "state": "waiting", "outcome": None, "word": "", "value": "", "reason": "", "limits": ""}


def limits_words(limits: Limits) -> str:
    """Limits as a person reads them: "190.4 … 214.7 Ω", "at most 50 mΩ"; empty where there are none."""
    lower, upper = limits.lower_ohm, limits.upper_ohm
    if lower is not None and upper is not None and math.isfinite(upper):
        low, high = show(lower, "Ω"), show(upper, "Ω")
        number, _, unit = low.partition(" ")
        return f"{number} … {high}" if high.endswith(f" {unit}") else f"{low} … {high}"
    if upper is not None and math.isfinite(upper):
        return f"at most {show(upper, 'Ω', digits=3)}"
    return "" if lower is None else f"at least {show(lower, 'Ω', digits=3)}"
