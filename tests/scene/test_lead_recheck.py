"""The lead zero is looked at again after a unit or a shift, and what rests on a moved one is doubted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.records import Ask, Judged, LeadZero, Notice, ZeroLeads
from acquire.records.codes import Recheck
from acquire.reports.lookback import Doubts
from drivers.reading import Quantity
from tests.pure_bench import GOOD, LEAD_OHM, Bench


def bench_with(recheck, *, four_wire_below_ohm=None):
    """A bench that measures everything with two wires, unless told otherwise."""
    bench = Bench()
    bench.pipeline.four_wire_below_ohm = four_wire_below_ohm
    bench.pipeline.conditions.recheck = recheck
    return bench


def work_through(bench):
    """Touch whatever pair is asked for until no pair is."""
    while bench.prompt.pair is not None:
        bench.hold(GOOD[tuple(bench.prompt.pair)])


def doubted(bench):
    """Steps whose verdicts are doubtful by the zeros of this bench."""
    doubts = Doubts.among(bench.of(LeadZero))
    return {j.verdict.step for j in bench.of(Judged) if doubts.why(j.verdict)}


def test_after_every_unit_the_probes_are_asked_together():
    """recheck = "unit": the leads have become 0.2 ohm worse meanwhile; low ohms are doubted."""
    bench = bench_with(Recheck.UNIT)
    bench.begin()
    work_through(bench)
    assert bench.prompt.ask is Ask.SHORT_PROBES
    bench.hold(0.2)
    bench.hold(0.2)
    assert bench.of(LeadZero)[-1].value_ohm == pytest.approx(LEAD_OHM + 0.2, abs=1e-3)
    assert "leads.moved" in {notice.code for notice in bench.of(Notice)}
    assert "lighting" in doubted(bench)
    assert bench.prompt.ask is Ask.START_UNIT


def test_leads_that_hold_leave_everything_as_it_is():
    """The same zero again: nothing is doubted."""
    bench = bench_with(Recheck.UNIT)
    bench.begin()
    work_through(bench)
    bench.hold(0.001)
    assert len(bench.of(LeadZero)) == 2
    assert doubted(bench) == set()


def test_four_wire_verdicts_are_never_doubted_for_their_leads():
    """Their leads are not in the value."""
    bench = bench_with(Recheck.UNIT, four_wire_below_ohm=1000.0)
    bench.begin()
    work_through(bench)
    bench.hold(0.5)
    assert {j.verdict.quantity for j in bench.of(Judged)} == {Quantity.RESISTANCE_4W}
    assert doubted(bench) == set()


def test_by_shift_the_probes_are_asked_together_once_the_zero_is_too_old():
    """Between units only, never in the middle of one; and not before its time."""
    bench = bench_with(Recheck.SHIFT)
    bench.begin()
    work_through(bench)
    assert bench.prompt.ask is Ask.START_UNIT
    bench.now_s += 9 * 3600.0
    bench.events += bench.pipeline.tick(bench.now_s, bench.now_s)
    assert bench.prompt.ask is Ask.SHORT_PROBES
    bench.hold(0.3)
    bench.hold(0.3)
    assert "lighting" in doubted(bench)


def test_never_waits_for_the_next_unit():
    """recheck = "never": nothing is asked between units; the next unit still gets a fresh zero."""
    bench = bench_with(Recheck.NEVER)
    bench.begin()
    work_through(bench)
    bench.now_s += 9 * 3600.0
    bench.pipeline.conditions.temperature = replace(bench.pipeline.conditions.temperature, utc_s=bench.now_s)
    bench.events += bench.pipeline.tick(bench.now_s, bench.now_s)
    assert bench.prompt.ask is Ask.START_UNIT
    bench.begin("A2")
    assert len(bench.of(LeadZero)) == 2


def test_a_bench_that_never_asks_for_zeros_is_not_asked_at_the_end_either():
    """A stated zero, or four wires only."""
    bench = bench_with(Recheck.UNIT)
    bench.pipeline.conditions.lead_wanted = False
    bench.begin()
    work_through(bench)
    assert bench.prompt.ask is Ask.START_UNIT


def test_a_winding_held_while_the_zero_is_typed_is_not_taken_for_leads():
    """.zero with the probes still on a winding of 0.4 ohm: it waits for a new touch."""
    bench = bench_with(Recheck.NEVER)
    bench.begin()
    while bench.prompt.pair != ("5", "6"):
        bench.hold(GOOD[tuple(bench.prompt.pair)])
    for _ in range(30):
        bench.read(GOOD["5", "6"])
    before = len(bench.of(LeadZero))
    bench.command(ZeroLeads())
    for _ in range(60):
        bench.read(GOOD["5", "6"])
    assert len(bench.of(LeadZero)) == before
