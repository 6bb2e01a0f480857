"""Waiting follows the meter's own pace: a meter of eight seconds a reading gives verdicts like any other."""

from __future__ import annotations

import pytest

from acquire.heart.standstill import MeterSet
from acquire.records import Ask, Code, Contact, Judged, LiftOff, Notice, Outcome
from acquire.settle.pace import Pace
from tests.pure_bench import GOOD, Bench, shown


class Slow(Bench):
    """A bench whose meter takes its time, while the daemon ticks four times a second."""

    interval_s = 8.0

    def read(self, ohm, **how):
        if not hasattr(self, "implied"):
            return super().read(ohm, **how)
        new = []
        for _ in range(round(4 * self.interval_s)):
            self.now_s += 0.25
            new += self.pipeline.tick(self.now_s, self.now_s)
        self.conversion += 1
        new += self.pipeline.feed(shown(self.pipeline.wanted, ohm, self.conversion, self.now_s, **how))
        self.events += new
        return new

    def hold(self, ohm, seconds=3.0):
        if not hasattr(self, "implied"):
            return super().hold(ohm, seconds)
        new = []
        for _ in range(8):
            new += self.read(ohm)
            if any(isinstance(event, Judged) for event in new):
                break  # who sees a verdict lifts
        for _ in range(3):
            new += self.read(None)
        return new

    def turn_slow(self, implied):
        self.implied = implied
        self.pipeline.told_of_meter(MeterSet(self.interval_s if implied else None))


@pytest.mark.parametrize("implied", [True, False], ids=["settings-imply-it", "it-must-be-learnt"])
def test_eight_seconds_a_reading_give_verdicts(implied):
    """With integration_plc = 100 and offset compensation nothing ever settled, and nothing was said."""
    bench = Slow()
    bench.begin()
    bench.turn_slow(implied)
    result = bench.work_through(GOOD)
    assert result.outcome is Outcome.PASS
    assert len(bench.of(Judged)) >= len(GOOD)
    assert not [n for n in bench.of(Notice) if n.code in (Code.METER_SILENT, Code.METER_UNSETTLED)]
    assert Code.PROBES_NOT_LIFTED not in {n.code for n in bench.of(Notice)}


def test_a_key_counts_on_an_overload_that_is_one_slow_conversion_old():
    """Three seconds were the longest that an overload bore witness."""
    bench = Slow()
    bench.begin()
    bench.turn_slow(implied=True)
    for _ in range(4):
        bench.read(None)
    assert bench.pipeline.settling.patience_s == 32.0


def test_a_slow_meter_that_falls_silent_is_still_noticed():
    bench = Slow()
    bench.begin()
    bench.turn_slow(implied=True)
    for _ in range(3):
        bench.read(202.57)
    assert isinstance([e for e in bench.events if isinstance(e, Contact | LiftOff)][-1], Contact)
    for _ in range(4 * 40):
        bench.now_s += 0.25
        bench.events += bench.pipeline.tick(bench.now_s, bench.now_s)
    assert isinstance([e for e in bench.events if isinstance(e, Contact | LiftOff)][-1], LiftOff)
    assert Code.METER_SILENT in {n.code for n in bench.of(Notice)}
    assert bench.prompt.ask is Ask.TOUCH


def test_an_outage_before_the_second_reading_does_not_last():
    """A first gap of a minute is no pace."""
    pace = Pace()
    for at_s in (0.0, 60.0, 60.5, 61.0):
        pace.note(at_s)
    assert pace.interval_s == pytest.approx(0.5)
    pace.note(121.0)
    assert pace.interval_s < 0.6
    pace.set_anew(8.0)
    assert pace.interval_s == 8.0
    assert pace.patience_s(3.0) == 32.0
