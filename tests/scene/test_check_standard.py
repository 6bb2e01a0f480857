"""The daily check standard at the bench: asked for, charted, stopping the bench, overridden with a reason."""

from __future__ import annotations

import random

import pytest

from acquire.physics.check_standard import Resistor
from acquire.records import (
    Ask,
    CheckMeter,
    CheckStandard,
    ConfirmOpen,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    OverrideCheck,
    Refusal,
    Severity,
    StartUnit,
    UnitResult,
    Why,
    ZeroLeads,
)
from acquire.steps.checking import CheckDuty
from tests.pure_bench import GOOD, Bench

R1 = Resistor("R1", 100.0, 0.02)
DAY_S = 86_400.0


def bench_with(stops=True, **facts):
    """A bench whose shift begins: nothing zeroed, nothing checked."""
    bench = Bench()
    bench.pipeline.duties.checks = (CheckDuty(R1, stops=stops, **facts),)
    return bench


def tick(bench):
    """Let the bench see the time."""
    bench.now_s += 0.25
    bench.events += bench.pipeline.tick(bench.now_s, bench.now_s)


def zero_and_check(bench, ohm=100.0):
    """Do what a shift begins with."""
    while bench.prompt.ask is Ask.SHORT_PROBES:
        bench.hold(0.0)
    assert bench.prompt.ask is Ask.CHECK_RESISTOR
    return bench.hold(ohm)


def test_a_shift_begins_with_zero_and_check_before_any_unit():
    """Leads first, for two wires; then the known resistor; then the first serial."""
    bench = bench_with()
    tick(bench)
    assert bench.prompt.ask is Ask.SHORT_PROBES
    zero_and_check(bench, 100.003)
    (record,) = bench.of(CheckStandard)
    assert record.in_control
    assert record.reading_ohm == pytest.approx(100.003, abs=1e-3)
    assert record.lead_ohm == pytest.approx(0.12, abs=1e-3)
    assert bench.prompt.ask is Ask.START_UNIT
    bench.begin()
    assert bench.work_through(GOOD).outcome is Outcome.PASS
    assert len(bench.of(CheckStandard)) == 1


def test_a_serial_scanned_first_waits_for_the_check():
    """The unit is on the bench, but what it is asked is the known resistor."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench)
    assert bench.prompt.pair == ("1", "2")
    assert not bench.of(Judged)


def test_out_of_control_stops_the_bench_until_it_passes():
    """0.3 ohm off its certificate: no verdict, no open pair, until a check that passes."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench, 100.3)
    (record,) = bench.of(CheckStandard)
    assert (record.in_control, record.signs) == (False, ("off_certificate",))
    assert "check.out_of_control" in {n.code for n in bench.of(Notice) if n.severity is Severity.STOP}
    assert bench.prompt.why is Why.BLOCKED
    bench.hold(GOOD["1", "2"])
    bench.now_s += 20.0
    bench.command(ConfirmOpen())
    assert not bench.of(Judged)
    bench.command(ZeroLeads())
    zero_and_check(bench, 100.001)
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_an_override_goes_on_record_with_its_reason():
    """Work goes on, and whoever reads the record knows why."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench, 100.3)
    bench.command(OverrideCheck("resistor dropped, a new one is ordered"))
    notice = next(n for n in bench.of(Notice) if n.code == "check.overridden")
    assert notice.facts["reason"] == "resistor dropped, a new one is ordered"
    assert bench.prompt.pair == ("1", "2")


def test_an_override_without_need_is_refused():
    """Nothing is stopped, so nothing is overridden."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench)
    bench.command(OverrideCheck("just so"))
    assert bench.of(Notice)[-1].code == "command.refused"


def test_a_bench_that_only_warns_goes_on():
    """action = "warn": the record says out of control, the unit is asked for."""
    bench = bench_with(stops=False)
    bench.command(StartUnit("A1"))
    zero_and_check(bench, 100.3)
    assert not bench.of(CheckStandard)[0].in_control
    assert [n.severity for n in bench.of(Notice) if n.code == "check.out_of_control"] == [Severity.WARNING]
    assert bench.prompt.pair == ("1", "2")


def test_something_else_between_the_probes_is_no_bad_check():
    """A winding of 46 ohm is told apart; the same value once more is believed to be the resistor."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench, 46.0)
    assert not bench.of(CheckStandard)
    assert bench.of(Notice)[-1].code == "check.other"
    bench.hold(46.0)
    assert bench.of(CheckStandard)[0].signs == ("off_certificate",)


def test_shorted_probes_still_together_are_not_the_resistor():
    """What is held from the lead zero on is waited out."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    bench.hold(0.0, seconds=12.0)
    assert len(bench.of(LeadZero)) == 1
    assert "check.other" not in {n.code for n in bench.of(Notice)}


def test_a_key_asks_for_the_check_at_any_time():
    """.check in the middle of a unit; the unit goes on behind it."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench)
    bench.hold(GOOD["1", "2"])
    bench.command(CheckMeter())
    assert bench.prompt.ask is Ask.CHECK_RESISTOR
    bench.hold(100.002)
    assert len(bench.of(CheckStandard)) == 2
    assert bench.prompt.pair == ("2", "3")


def test_a_bench_without_a_check_standard_says_so():
    """.check without a [check] table."""
    bench = Bench()
    bench.command(CheckMeter())
    assert bench.of(Notice)[-1].facts["refusal"] == Refusal.CHECK_ABSENT


def test_the_chart_comes_back_from_the_record_and_tells_a_jump():
    """Twenty quiet days on record; a reading inside the certificate but far outside the chart stops."""
    rng = random.Random(5)
    first = bench_with()
    for _day in range(20):
        first.now_s += DAY_S
        tick(first)
        zero_and_check(first, 100.0 + rng.gauss(0.0, 0.0005))
    records = first.of(CheckStandard)
    assert all(record.in_control for record in records)
    assert records[-1].upper_ohm - records[-1].lower_ohm < 0.01

    later = bench_with()
    later.pipeline.duties.recall(records)
    later.now_s = first.now_s + DAY_S
    tick(later)
    zero_and_check(later, 100.012)
    record = later.of(CheckStandard)[-1]
    assert "beyond_limits" in record.signs
    assert "off_certificate" not in record.signs
    assert later.pipeline.duties.check.blocked


def test_records_of_another_resistor_are_no_part_of_the_chart():
    """A new certificate begins a new chart."""
    bench = bench_with()
    bench.command(StartUnit("A1"))
    zero_and_check(bench)
    other = CheckDuty(Resistor("R1", 100.02, 0.02))
    other.recall(bench.of(CheckStandard))
    assert other.due(bench.now_s)
    assert other.history_ohm == []


def test_a_check_holds_for_as_long_as_the_bench_says():
    """Due again after its time, not before; and never in the middle of a unit."""
    bench = bench_with(every_s=3600.0)
    bench.command(StartUnit("A1"))
    zero_and_check(bench)
    bench.now_s += 3700.0
    tick(bench)
    assert bench.prompt.pair == ("1", "2")
    assert bench.work_through(GOOD).outcome is Outcome.PASS
    tick(bench)
    assert bench.prompt.ask is Ask.CHECK_RESISTOR
    assert bench.of(UnitResult)


def test_a_resistor_far_from_its_temperature_is_allowed_more():
    """±50 ppm per kelvin at 34 °C: 0.07 ohm more are allowed either way."""
    results = []
    for tempco in (0.0, 50e-6):
        bench = Bench(celsius=34.0)
        bench.pipeline.duties.checks = (CheckDuty(R1, tempco_per_kelvin=tempco),)
        bench.command(StartUnit("A1"))
        zero_and_check(bench, 100.05)
        results.append(bench.of(CheckStandard)[0].in_control)
    assert results == [False, True]
