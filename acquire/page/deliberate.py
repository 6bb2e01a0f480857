"""The tests that are begun deliberately, on a screen of their own: what a sheet wants besides ohms, how.

Insulation is measured with an instrument of its own, clips on and hands off; the result is typed in. Times:
one minute of test voltage, and at least four times as long to discharge (IEEE 43-2013). Pure. Not for judging
what is typed (verdict.typed).
"""

from __future__ import annotations

from collections.abc import Sequence

from acquire.page.drawing import limits
from acquire.page.telling import Plain, picked, typed_words
from acquire.physics.insulation import CAUTIONS
from acquire.records import Isolation, Limits, Purpose, Sheet, Step, StepKind, TypedResult
from acquire.verdict.typed_wanted import least_ohm
from drivers.reading import Quantity

CHARGE_S = 60.0
"""The value is read after one minute (IEEE 43-2013)."""

DISCHARGE_TIMES = 4.0
"""Discharge at least this many times as long as the test took (IEEE 43-2013)."""


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
    tests = [_isolation(rule, purpose) for rule in sheet.isolations]
    tests += [_step(step) for step in sheet.steps if step.kind is StepKind.TYPED]
    for test in tests:
        test["discharge_s"] = DISCHARGE_TIMES * test["charge_s"]
        test["given"] = given.get(test["name"])
    return {
        "serial": serial,
        "cautions": CAUTIONS if any(test["charge_s"] for test in tests) else [],
        "tests": tests,
        "instruments": [instrument] if instrument else [],
    }


def _isolation(rule: Isolation, purpose: Purpose) -> Plain:
    return {
        **picked(rule, "name", "groups", "volts"),
        "quantity": Quantity.INSULATION,
        "charge_s": CHARGE_S,
        "may_shock": True,
        **limits(Limits(least_ohm(rule, purpose), None)),
    }


def _step(step: Step) -> Plain:
    charge_s = CHARGE_S if step.quantity is Quantity.INSULATION else 0.0
    return {
        **picked(step, "name", "quantity", "kind"),
        "groups": [[pin] for pin in step.pair],
        "charge_s": charge_s,
        "may_shock": charge_s > 0.0 or (step.lower_ohm is None and step.upper_ohm is None),
        **limits(step),
    }
