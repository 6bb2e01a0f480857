"""Instruments that lie, lag, repeat, stutter or fall silent: no wrong verdict on their word in silence.

The readings come from here and share nothing with a driver; hands obey the prompts. Virtual time.
"""

from __future__ import annotations

import math
import random
from collections import deque
from dataclasses import dataclass, field, replace

import pytest

from acquire.records import Ask, Judged, Notice, Outcome, StartUnit, UnitResult
from drivers.reading import Kind
from tests.pure_bench import GOOD, Bench, shown

KINDS = ("honest", "late", "doubled", "nan", "wrong unit", "spikes", "stuck", "slow", "silent")
SHORT, LONG = 1, 120
"""Units of each kind: 9 kinds of 120 are more than a thousand."""


@dataclass
class Adversary(Bench):
    """A bench whose instrument behaves badly in one way."""

    kind: str
    dice: random.Random
    shown_before: deque = field(default_factory=lambda: deque(maxlen=4))
    stuck_for: int = 0
    stuck: object = None

    def __post_init__(self):
        Bench.__init__(self)

    def read(self, ohm, **how):
        if not hasattr(self, "dice"):
            return super().read(ohm, **how)
        step_s = {"slow": 3.0}.get(self.kind, 0.1)
        if self.kind == "silent" and self.dice.random() < 0.02:
            step_s = self.dice.uniform(1.0, 12.0)
        until_s, new = self.now_s + step_s, []
        while self.now_s + 0.25 < until_s:
            self.now_s += 0.25
            new += self.pipeline.tick(self.now_s, self.now_s)
        self.now_s = until_s
        for reading in self.made(shown(self.pipeline.wanted, ohm, self.conversion, self.now_s, **how)):
            new += self.pipeline.feed(reading)
        self.events += new
        return new

    def made(self, true):
        """What the instrument makes of the reading that it should give."""
        self.conversion += 1
        true = replace(true, conversion=self.conversion)
        if self.kind == "late":
            self.shown_before.append(true)
            old = self.shown_before[0]
            return [replace(old, monotonic_s=true.monotonic_s, utc_s=true.utc_s, conversion=true.conversion)]
        if self.kind == "doubled":
            self.conversion += 1
            return [true, replace(true, conversion=self.conversion, monotonic_s=true.monotonic_s + 0.002)]
        odd = self.dice.random()
        if self.kind == "nan" and odd < 0.5:
            return [replace(true, kind=Kind.NO_READING, value_si=None, raw=b"NAN")]
        if true.value_si is not None and odd < 0.1:
            factor = {"wrong unit": 1e-3, "spikes": self.dice.uniform(0.3, 3.0)}.get(self.kind, 1.0)
            true = replace(true, value_si=true.value_si * factor)
        if self.kind == "stuck":
            self.stuck_for -= 1
            if self.stuck_for < 0 and odd < 0.01:
                self.stuck_for, self.stuck = self.dice.randrange(5, 15), true
            if self.stuck_for >= 0:
                at = {"monotonic_s": true.monotonic_s, "utc_s": true.utc_s, "conversion": true.conversion}
                return [replace(self.stuck, **at)]
        return [true]

    def tick(self):
        new = self.pipeline.tick(self.now_s, self.now_s)
        self.events += new
        return new

    def unit(self, serial, values):
        """Work through one unit as a person would: touch what is asked until it is judged, then lift."""
        self.command(StartUnit(serial, sure=True))
        begun = len(self.events)
        for _ in range(10 if self.kind == "nan" else 60):  # nobody touches for ever what gives no number
            prompt = self.prompt
            if prompt.ask is Ask.START_UNIT or (
                self.of(UnitResult) and self.of(UnitResult)[-1].serial == serial
            ):
                break
            for _ in range(25):
                new = self.read(0.0 if prompt.pair is None else values[tuple(prompt.pair)])
                if any(isinstance(each, Judged) for each in [*new, *self.tick()]):
                    break
            for _ in range(6):
                self.read(None)
            self.tick()
        return self.events[begun:]


def damaged(dice):
    """A unit; half of them have a bad pair."""
    values = dict(GOOD)
    if dice.random() < 0.5:
        pair = dice.choice([("4", "6"), ("5", "6"), ("1", "2")])
        values[pair] *= dice.choice([1.3, 1.6, 2.5])
        if pair == ("1", "2"):  # what is in series with it shows it, too
            values["1", "3"] += values[pair] - GOOD[pair]
    return values


def wrong(events, values):
    """Verdicts that count and contradict the unit, where nothing else was said of them."""
    found = []
    for verdict in (each.verdict for each in events if isinstance(each, Judged) and each.verdict.counts):
        true_ohm = values[verdict.pin_a, verdict.pin_b]
        low_ohm = -math.inf if verdict.lower_ohm is None else verdict.lower_ohm
        high_ohm = math.inf if verdict.upper_ohm is None else verdict.upper_ohm
        good = low_ohm <= true_ohm <= high_ohm
        if verdict.outcome is (Outcome.FAIL if good else Outcome.PASS):
            found.append(verdict)
    return found


def campaign(kind, units):
    """Units one after another on one bench; gives what was judged wrongly in silence, and the verdicts."""
    dice = random.Random(f"{kind} of 2026")
    bench = Adversary(kind, dice)
    silent, judged, stands = [], 0, False
    for number in range(units):
        values = damaged(dice)
        events = bench.unit(f"A{number:04d}", values)
        judged += sum(isinstance(each, Judged) for each in events)
        last = {(v.pin_a, v.pin_b): v for v in wrong(events, values)}
        told = stands or any(isinstance(each, Notice) for each in events)
        stands = told and not any(isinstance(each, Judged) for each in events)  # told once until it is over
        silent += [(f"A{number:04d}", v) for v in last.values() if not told]
        silent += (
            [] if told or any(isinstance(each, UnitResult) for each in events) else [(number, "no word")]
        )
    return silent, judged


@pytest.mark.parametrize("kind", KINDS)
def test_no_wrong_verdict_without_a_notice(kind):
    """Nor a unit that never ends without a word."""
    silent, judged = campaign(kind, SHORT)
    assert not silent
    assert judged >= (0 if kind == "nan" else SHORT)


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", KINDS)
def test_no_wrong_verdict_without_a_notice_over_a_thousand_units(kind):
    """Nine kinds."""
    silent, judged = campaign(kind, LONG)
    assert not silent
    assert judged >= (0 if kind == "nan" else LONG)
