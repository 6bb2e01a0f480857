"""The tests that are begun deliberately, on a screen of their own: what a sheet wants besides ohms, how.

Insulation is measured with an instrument of its own, clips on and hands off; the result is typed in. Times:
one minute of test voltage, and at least four times as long to discharge (IEEE 43-2013). Pure. Not for judging
what is typed (verdict.typed).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from acquire.page.telling import typed_words
from acquire.physics.insulation import CAUTIONS
from acquire.quantity import show
from acquire.records import Isolation, Purpose, Sheet, Step, StepKind, TypedResult
from acquire.verdict.typed_line import HOW
from acquire.verdict.typed_wanted import least_ohm
from drivers.reading import Quantity

Plain = dict[str, Any]

CHARGE_S = 60.0
"""The value is read after one minute (IEEE 43-2013)."""

DISCHARGE_TIMES = 4.0
"""Discharge at least this many times as long as the test took (IEEE 43-2013)."""

HANDS_OFF = "The clips are on, the unit is alone on the bench, nobody touches it."
"""To be confirmed before the countdown starts."""

MORE_CAUTIONS = (
    "One hand behind the back while a voltage is on. Keep off the core, the leads and the clips.",
    "Discharge the winding before the clips come off, and let the countdown run out.",
    "A pass says that these tests were passed; turns that touch each other need a test of their own.",
)
"""Common practice, no source."""

UNITS = {
    Quantity.INSULATION: ("Mohm", "Gohm", "kohm"),
    Quantity.INDUCTANCE: ("mH", "H", "uH"),
    Quantity.VOLTAGE_DC: ("V",),
    Quantity.VOLTAGE_AC: ("V",),
    Quantity.QUALITY_FACTOR: ("",),
    Quantity.DISSIPATION_FACTOR: ("",),
}
OHM_UNITS = ("ohm", "mohm", "kohm")
"""Units that a value of each quantity is likely to be typed in."""


def deliberate_tests(
    sheet: Sheet, purpose: Purpose, serial: str, typed: Sequence[TypedResult], instrument: str = ""
) -> Plain:
    """Everything that the screen of deliberate tests shows.

    A step without limits in ohms may be of any instrument, such as one that sends surges: it may shock.

    Args:
        sheet: in force.
        purpose: decides which limit applies.
        serial: of the unit on the bench, or the last one; empty where there was none.
        typed: results typed in for it, oldest first.
        instrument: that insulation results come from, as the bench file says.
    """
    given = {result.name: typed_words(result) for result in typed if result.serial == serial}
    tests = [_isolation(rule, purpose, given) for rule in sheet.isolations]
    tests += [_step(step, given) for step in sheet.steps if step.kind is StepKind.TYPED]
    return {
        "serial": serial,
        "how": f"Write {HOW}",
        "cautions": [*CAUTIONS, *MORE_CAUTIONS] if any(test["charge_s"] for test in tests) else [],
        "hands_off": HANDS_OFF,
        "tests": tests,
        "instruments": [instrument] if instrument else [],
    }


def _isolation(rule: Isolation, purpose: Purpose, given: dict[str, Plain]) -> Plain:
    return {
        "name": rule.name,
        "kind": "insulation",
        "title": "Insulation",
        "between": "  to  ".join(", ".join(group) for group in rule.groups),
        "may_shock": True,
        "test_volt": rule.volts,
        "limit_text": f"at least {show(least_ohm(rule, purpose), 'Ω', digits=3)}",
        "charge_s": CHARGE_S,
        "discharge_s": DISCHARGE_TIMES * CHARGE_S,
        "placeholder": ">200 Mohm",
        "units": list(UNITS[Quantity.INSULATION]),
        "choices": [],
        "given": given.get(rule.name),
    }


def _step(step: Step, given: dict[str, Plain]) -> Plain:
    high_voltage = step.quantity is Quantity.INSULATION
    charge_s = CHARGE_S if high_voltage else 0.0
    return {
        "name": step.name,
        "kind": "insulation" if high_voltage else "typed",
        "title": step.name,
        "between": "  to  ".join(step.pair),
        "may_shock": high_voltage or (step.lower_ohm is None and step.upper_ohm is None),
        "test_volt": None,
        "limit_text": _limit(step),
        "charge_s": charge_s,
        "discharge_s": DISCHARGE_TIMES * charge_s,
        "placeholder": ">200 Mohm" if high_voltage else "",
        "units": list(UNITS.get(step.quantity, OHM_UNITS)),
        "choices": ["pass", "fail"],
        "given": given.get(step.name),
    }


def _limit(step: Step) -> str:
    low = None if step.lower_ohm is None else show(step.lower_ohm, "Ω")
    high = None if step.upper_ohm is None else show(step.upper_ohm, "Ω")
    if low and high:
        return f"{low} … {high}"
    return f"at least {low}" if low else (f"at most {high}" if high else "")
