"""The tests that are begun deliberately, on a screen of their own: what a sheet wants besides ohms, how.

Insulation is measured with an instrument of its own, clips on and hands off; the result is typed in. Times:
one minute of test voltage, and at least four times as long to discharge (IEEE 43-2013). Pure. Not for judging
what is typed (verdict.typed).
"""

from __future__ import annotations

from collections.abc import Sequence

from acquire.page.drawing import limits_words
from acquire.page.telling import Plain, typed_words
from acquire.physics.insulation import CAUTIONS
from acquire.quantity import show
from acquire.records import Isolation, Limits, Purpose, Sheet, Step, StepKind, TypedResult
from acquire.verdict.typed_line import HOW
from acquire.verdict.typed_wanted import least_ohm
from drivers.reading import Quantity

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
        **_test(rule.name, "Insulation", rule.groups, given, CHARGE_S),
        "test_volt": rule.volts,
        "limit_text": f"at least {show(least_ohm(rule, purpose), 'Ω', digits=3)}",
        "units": list(UNITS[Quantity.INSULATION]),
    }


def _step(step: Step, given: dict[str, Plain]) -> Plain:
    charge_s = CHARGE_S if step.quantity is Quantity.INSULATION else 0.0
    return {
        **_test(step.name, step.name, [[pin] for pin in step.pair], given, charge_s),
        "may_shock": charge_s > 0.0 or (step.lower_ohm is None and step.upper_ohm is None),
        "limit_text": limits_words(Limits(step.lower_ohm, step.upper_ohm)),
        "units": list(UNITS.get(step.quantity, OHM_UNITS)),
        "choices": ["pass", "fail"],
    }


def _test(
    name: str, title: str, groups: Sequence[Sequence[str]], given: dict[str, Plain], charge_s: float
) -> Plain:
    """A test with a voltage where it charges what it measures, for so many seconds."""
    return {
        "name": name,
        "kind": "insulation" if charge_s else "typed",
        "title": title,
        "between": "  to  ".join(", ".join(group) for group in groups),
        "may_shock": True,
        "test_volt": None,
        "charge_s": charge_s,
        "discharge_s": DISCHARGE_TIMES * charge_s,
        "placeholder": ">200 Mohm" if charge_s else "",
        "choices": [],
        "given": given.get(name),
    }
