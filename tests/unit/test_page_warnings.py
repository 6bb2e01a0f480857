"""Warnings come with their cause and go with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.page.backend import Facts
from acquire.page.warnings import FADES_S, PATIENCE_S, RESTED_S, TAKEN_BACK, Warnings
from acquire.records import BatchState, Code, Ending, FirstUnitDoubt, Judged, Notice, Severity, UnitStarted
from tests.known_records import BATCH, EVIDENCE, NOON_S, RESULT, STARTED, VERDICT

WELL = Facts(NOON_S)
STOP, WARN = Severity.STOP, Severity.WARNING


def due(code, severity=WARN, **facts):
    """A fact of the bench."""
    return Notice(severity, code, NOON_S, facts=facts)


def codes(warnings):
    return [warning["code"] for warning in warnings.plain()]


def test_a_bench_that_is_well_has_none():
    warnings = Warnings()
    warnings.know(WELL)
    assert warnings.plain() == []


@pytest.mark.parametrize(
    ("fact", "code", "severity"),
    [
        (due(Code.METER_SILENT), "meter.silent", "warning"),
        (due(Code.JOURNAL_HALTED, STOP), "journal.halted", "stop"),
        (due(Code.LEADS_NONE), "leads.none", "warning"),
        (due(Code.LEADS_OLD), "leads.old", "warning"),
        (due(Code.CHECK_DUE, resistor="R1"), "check.due", "warning"),
        (due(Code.CHECK_OUT, STOP, resistor="R1"), "check.out", "stop"),
        (due(Code.CALIBRATION_DUE, meter="m", overdue_days=3), "calibration.due", "warning"),
        (due(Code.OUTLET_FAILING, outlet="mqtt", cause="no broker"), "outlet.failing", "warning"),
    ],
)
def test_a_fact_warns_as_long_as_it_is_one(fact, code, severity):
    warnings = Warnings()
    warnings.know(replace(WELL, due=[fact]))
    [told] = warnings.plain()
    assert (told["code"], told["severity"]) == (code, severity)
    assert told["text"].rstrip()
    warnings.know(replace(WELL, utc_s=NOON_S + 1.0, due=[replace(fact, utc_s=NOON_S + 1.0)]))
    assert warnings.plain() == [told]  # nothing new
    warnings.know(replace(WELL, utc_s=NOON_S + 2.0))
    assert warnings.plain() == []


def test_a_thermometer_has_some_seconds_to_speak():
    warnings = Warnings()
    silent = Facts(NOON_S, [due(Code.TEMPERATURE_MISSING, STOP)])
    warnings.know(silent)
    assert codes(warnings) == []
    warnings.know(replace(silent, utc_s=NOON_S + PATIENCE_S + 1.0))
    assert codes(warnings) == ["temperature.missing"]
    warnings.know(replace(silent, utc_s=NOON_S + PATIENCE_S + 2.0, due=[due(Code.TEMPERATURE_OLD, STOP)]))
    assert codes(warnings) == ["temperature.old"]
    assert warnings.stops


@pytest.mark.parametrize(
    ("code", "ends"), [(code, end) for code, ends in TAKEN_BACK.items() for end in sorted(ends)]
)
def test_a_notice_is_taken_back_by_its_counterpart(code, ends):
    warnings = Warnings()
    warnings.show(Notice(Severity.STOP, code, NOON_S, facts={"said": "Something is wrong."}))
    assert codes(warnings) == [code]
    warnings.show(Notice(Severity.INFO, ends, NOON_S + 1.0, facts={"said": "It is well again."}))
    assert code not in codes(warnings)


@pytest.mark.parametrize("code", [Code.JOURNAL_GONE, Code.JOURNAL_OLDER, Code.JOURNAL_QUARANTINED])
def test_a_damaged_record_stands_as_a_warning_until_the_next_unit(code):
    """At the start of a shift somebody looks at the page, not at the terminal."""
    warnings = Warnings()
    facts = {"birth": "a", "entries": 3, "first": 1, "last": 3, "aside": "journal.bad", "cause": "no header"}
    warnings.show(Notice(Severity.WARNING, code, NOON_S, facts=facts))
    assert codes(warnings) == [code]
    warnings.show(STARTED)
    assert codes(warnings) == []


def test_a_verdict_shows_that_the_meter_is_set_right():
    warnings = Warnings()
    for code in (Code.METER_TURN, Code.METER_RANGE, Code.METER_UNSTATED):
        warnings.show(Notice(Severity.WARNING, code, NOON_S, facts={"said": "Turn it."}))
    warnings.show(Judged(VERDICT, EVIDENCE))
    assert codes(warnings) == []


def test_what_a_step_wants_of_the_meter_ends_with_its_unit():
    """A unit that is given up leaves nothing over the next one."""
    warnings = Warnings()
    for code in (Code.METER_TURN, Code.METER_RANGE, Code.METER_RANGE_LOW):
        warnings.show(Notice(Severity.WARNING, code, NOON_S, facts={"turn": "Turn it.", "full_ohm": 400.0}))
    warnings.show(replace(RESULT, outcome=None, ending=Ending.EARLY))
    assert codes(warnings) == []


def test_the_answer_to_a_refused_order_fades():
    warnings = Warnings()
    warnings.show(Notice(Severity.WARNING, Code.COMMAND_REFUSED, NOON_S, facts={"said": "There is no unit."}))
    warnings.know(replace(WELL, utc_s=NOON_S + FADES_S / 2))
    assert codes(warnings) == ["command.refused"]
    warnings.know(replace(WELL, utc_s=NOON_S + FADES_S))
    assert codes(warnings) == []


def test_a_warm_unit_counts_down_is_called_back_and_forgotten():
    warnings = Warnings()
    held = replace(RESULT, serial="PL80-0005", outcome=None, ending=Ending.WARM, wait_s=600.0, utc_s=NOON_S)
    warnings.show(held)
    [told] = warnings.plain()
    assert (told["code"], told["severity"], told["until_utc_s"]) == ("part.warm", "warning", NOON_S + 600.0)
    warnings.know(replace(WELL, utc_s=NOON_S + 599.0))
    assert warnings.plain() == [told]
    warnings.know(replace(WELL, utc_s=NOON_S + 601.0))
    [rested] = warnings.plain()
    assert (rested["severity"], rested["until_utc_s"]) == ("info", None)
    assert rested["code"] == "part.rested"
    warnings.know(replace(WELL, utc_s=NOON_S + 601.0 + RESTED_S))
    assert codes(warnings) == []


def test_a_warm_unit_that_comes_back_is_awaited_no_more():
    warnings = Warnings()
    for serial in ("a", "b"):
        warnings.show(replace(RESULT, serial=serial, outcome=None, ending=Ending.WARM, wait_s=600.0))
    assert isinstance(STARTED, UnitStarted)
    warnings.show(replace(STARTED, serial="a"))
    assert [w["text"].partition(" ")[0] for w in warnings.plain()] == ["b"]


def test_a_doubted_first_unit_warns_until_somebody_has_decided():
    warnings = Warnings()
    warnings.show(replace(BATCH, first_doubt=FirstUnitDoubt(0.9, ()), state=BatchState.RUNNING))
    assert codes(warnings) == ["batch.first_unit"]
    warnings.show(BATCH)
    assert codes(warnings) == []


def test_the_heaviest_stands_first():
    warnings = Warnings()
    warnings.know(replace(WELL, due=[due(Code.LEADS_NONE)]))
    warnings.know(
        replace(WELL, utc_s=NOON_S + 5.0, due=[due(Code.LEADS_NONE), due(Code.JOURNAL_HALTED, STOP)])
    )
    assert codes(warnings) == ["journal.halted", "leads.none"]


def test_many_warm_units_are_one_line_with_the_next_time():
    """Eight of them leave the screen to the bench."""
    warnings = Warnings()
    held = replace(RESULT, outcome=None, ending=Ending.WARM)
    for place in range(8):
        warnings.show(replace(held, serial=f"U{place}", wait_s=900.0 - place, utc_s=NOON_S))
    [told] = warnings.plain()
    assert told["until_utc_s"] == NOON_S + 893.0
    assert told["text"].startswith("U7 and 7 more")
