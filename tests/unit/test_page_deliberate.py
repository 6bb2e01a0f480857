"""Tests that are begun deliberately: what the sheet wants, with cautions and times."""

from __future__ import annotations

from dataclasses import replace

from acquire.page.deliberate import deliberate_tests
from acquire.records import Pair, Purpose, Step, StepKind
from acquire.verdict.typed_line import typed_line
from acquire.verdict.typed_wanted import isolation_named
from drivers.reading import Quantity
from tests.known_records import TYPED
from tests.known_sheets import PLOVER


def told(sheet=PLOVER, purpose=Purpose.FINAL, serial="a", typed=()):
    return deliberate_tests(sheet, purpose, serial, typed, "IR-2")


def test_insulation_has_its_voltage_limit_and_times():
    """One minute, and four times as long to discharge: IEEE 43-2013 (from memory)."""
    [test, *_] = told()["tests"]
    rule = PLOVER.isolations[0]
    assert (test["volts"], test["charge_s"], test["discharge_s"]) == (rule.volts, 60.0, 240.0)
    assert test["lower_ohm"] == 50e6
    assert told(purpose=Purpose.INCOMING)["tests"][0]["lower_ohm"] == 5e6
    assert told()["instruments"] == ["IR-2"]


def test_the_name_can_be_typed_as_it_stands():
    """With its commas, in front of the sign of equality."""
    [test, *_] = told()["tests"]
    line = typed_line(f"{test['name']} = >200 Mohm, 500 V")
    assert isolation_named(PLOVER, line.name) is PLOVER.isolations[0]


def test_cautions_come_with_a_dangerous_voltage_only():
    assert any("hands off" in caution for caution in told()["cautions"])
    step = Step("inductance", Pair("1", "2"), StepKind.TYPED, Quantity.INDUCTANCE)
    harmless = told(replace(PLOVER, isolations=(), steps=(*PLOVER.steps, step)))
    assert harmless["cautions"] == []
    assert [test["quantity"] for test in harmless["tests"]] == ["inductance"]
    assert harmless["tests"][0]["charge_s"] == 0.0


def test_a_result_of_this_unit_is_shown_and_of_another_is_not():
    name = PLOVER.isolations[0].name
    typed = replace(TYPED, serial="a", name=name)
    assert told(typed=[typed])["tests"][0]["given"]["typed"] == typed.typed
    assert told(serial="b", typed=[typed])["tests"][0]["given"] is None


def test_only_a_step_with_limits_in_ohms_is_known_to_be_harmless():
    """Whatever the others are called: an instrument that sends surges may stand behind them."""
    steps = (
        Step("thump", Pair("1", "2"), StepKind.TYPED),
        Step("surge", Pair("1", "2"), StepKind.TYPED, upper_ohm=3.0),
    )
    tests = told(replace(PLOVER, steps=steps, isolations=()))["tests"]
    assert [test["may_shock"] for test in tests] == [True, False]
