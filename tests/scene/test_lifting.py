"""Probes that stay where they are while the next unit begins: what they read is not that unit's."""

from __future__ import annotations

import pytest

from acquire.bench.daemon import recorded
from acquire.records import (
    Ask,
    GiveUpUnit,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    StartUnit,
    UnitResult,
    ZeroLeads,
)
from drivers.reading import Quantity
from tests.pure_bench import GOOD, Bench

FIRST, CORE = GOOD["1", "2"], GOOD["6", "CORE"]


def keep(bench, ohm, seconds=3.0):
    """Hold the probes where they are; nothing is lifted."""
    for _ in range(round(seconds * 10)):
        bench.read(ohm, full_scale=100.0 if ohm < 100.0 else 1000.0)


def air(bench, seconds=0.8):
    for _ in range(round(seconds * 10)):
        bench.read(None)


def judged_for(bench, serial):
    return [j.verdict for j in bench.of(Judged) if j.verdict.serial == serial]


def codes(bench):
    return [n.code for n in bench.of(Notice)]


def at_the_last_step():
    """A unit whose probes lie on the pair that ended it."""
    bench = Bench()
    bench.begin("A1")
    while not bench.of(UnitResult):
        keep(bench, GOOD[tuple(bench.prompt.pair)])
        if not bench.of(UnitResult):
            air(bench)
    bench.events.clear()
    return bench


def test_the_pair_that_ended_a_unit_says_nothing_of_the_next():
    """Scanned with the probes still on it: its value makes no verdict."""
    bench = at_the_last_step()
    bench.command(StartUnit("A2"))
    keep(bench, FIRST, 5.0)
    assert judged_for(bench, "A2") == []
    air(bench)
    bench.hold(FIRST)
    assert [(v.pin_a, v.pin_b, v.outcome, v.attempt) for v in judged_for(bench, "A2")] == [
        ("1", "2", Outcome.PASS, 1)
    ]


def test_a_unit_that_gave_way_to_the_next_takes_its_contact_along():
    """A fault under the probes of A1 is not A2's, however long it is held, and the operator is told once."""
    bench = Bench()
    bench.begin("A1")
    keep(bench, 0.5 * FIRST, 0.4)  # not at rest yet
    bench.command(StartUnit("A2"))
    keep(bench, 0.5 * FIRST, 6.0)
    assert judged_for(bench, "A2") == []
    assert codes(bench).count("probes.not_lifted") == 1
    air(bench)
    assert bench.work_through(GOOD).outcome is Outcome.PASS
    assert all(v.outcome is Outcome.PASS for v in judged_for(bench, "A2"))


@pytest.mark.parametrize("silent", [True, False])
def test_a_meter_that_was_gone_meanwhile_has_not_lifted_anything(silent):
    """A link lost and back, or a silence, ends a contact for the filter; the probes lie where they lay."""
    bench = at_the_last_step()
    bench.command(StartUnit("A2"))
    if silent:
        bench.now_s += 20.0
        bench.pipeline.tick(bench.now_s, bench.now_s)
    else:
        bench.pipeline.link_lost()
    keep(bench, FIRST, 4.0)
    assert judged_for(bench, "A2") == []
    assert codes(bench).count("probes.not_lifted") == 1
    air(bench)
    bench.hold(FIRST)
    assert [v.outcome for v in judged_for(bench, "A2")] == [Outcome.PASS]


def test_a_restart_has_not_lifted_anything():
    """Killed with the probes on the pair just judged: it is not the next pair, nor touched again."""
    bench = Bench()
    bench.begin("A1")
    keep(bench, FIRST)
    assert len(judged_for(bench, "A1")) == 1
    fresh = Bench(air_s=0.0)
    fresh.now_s = bench.now_s
    fresh.pipeline.replay([record for record, _ in recorded(bench.events)], bench.now_s)
    keep(fresh, FIRST, 5.0)
    assert judged_for(fresh, "A1") == []
    assert codes(fresh) == ["probes.not_lifted"]
    air(fresh)
    result = fresh.work_through(GOOD)
    assert (result.serial, result.outcome) == ("A1", Outcome.PASS)


def test_one_overload_while_the_meter_looks_for_a_range_is_no_lift():
    """Set anew under held probes, a meter may show overload first."""
    bench = at_the_last_step()
    bench.command(StartUnit("A2"))
    bench.pipeline.link_lost()
    air(bench, 0.2)
    keep(bench, FIRST, 4.0)
    assert judged_for(bench, "A2") == []


def test_probes_put_on_before_the_serial_are_the_units():
    """Clips that were set with nothing on the bench belong to the unit that is scanned then."""
    bench = Bench()
    bench.begin("A1")
    bench.command(GiveUpUnit("dropped"))
    air(bench)
    keep(bench, FIRST, 2.0)
    bench.command(StartUnit("A2"))
    bench.events.clear()
    keep(bench, FIRST, 4.0)
    assert [v.outcome for v in judged_for(bench, "A2")] == [Outcome.PASS]


def test_a_short_that_zeroed_the_leads_is_no_pair():
    """Held on after the zero it says nothing of the unit; nobody is told off while hands linger."""
    bench = Bench()
    bench.command(StartUnit("A1"))
    assert bench.prompt.ask is Ask.SHORT_PROBES
    keep(bench, 0.0, 5.0)
    assert len(bench.of(LeadZero)) == 1
    assert not bench.of(Judged)
    assert "probes.not_lifted" not in codes(bench)
    air(bench)
    assert bench.work_through(GOOD).outcome is Outcome.PASS


def test_a_low_pair_held_on_is_no_lead_zero():
    """Asked for with the probes on the pair that ended a unit: they are to be lifted first."""
    bench = at_the_last_step()
    bench.command(StartUnit("A2"))
    bench.command(ZeroLeads())
    for _ in range(40):
        bench.read(CORE, quantity=Quantity.RESISTANCE, full_scale=100.0)
    assert not bench.of(LeadZero)
    air(bench)
    bench.hold(0.0)
    assert len(bench.of(LeadZero)) == 1
