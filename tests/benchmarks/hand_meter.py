"""Quick hands on slow meters: touches, seconds, false fails and values under a wrong step, in simulated time.

    python -m tests.benchmarks.hand_meter [--units 200] [--bad 70] [--seed 1] [--alike]

Held constant: the same units of the trade's own sizes (0.5, 20.6 and 441 ohm and the sum of the last two,
spread 2 %; common practice, no source), good ones and then bad ones, the real heart, hands that obey
prompts. A meter integrates its input over a part of each conversion, so that a lift shorter than that shows
as some value in between, or not at all; a polled meter is asked for its latest display. Goals, by meter and
lift: no good unit fails and no bad one passes, no value of a good unit under a wrong step, 1.15 touches a
step at most. With --alike three windings of 20.6 ohm, spread 2 %, of which none can be told from the next
by its value: no value under a wrong step is all that is asked of them. The baseline is the row of hands
that wait two seconds, in the same run.
"""

from __future__ import annotations

import argparse
import math
import random
import tempfile
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

from acquire.conditions import Conditions, Temperature
from acquire.pipeline import Pipeline
from acquire.records import (
    Ask,
    Circumstances,
    Code,
    ConfirmOpen,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Prompt,
    Purpose,
    StartUnit,
    UnitResult,
    Why,
)
from acquire.settle import SettleSettings
from acquire.sheets import load_sheet
from acquire.steps.derived import with_continuity
from drivers.models import load_model
from drivers.reading import Kind, Origin, Quantity, Ranging, Reading
from tests.pure_bench import CONFIGS

FAULTS = {
    "trigger, turns shorted": {"l": 0.6},
    "trigger, bad joint": {"l": 2.2},
    "charge, turns shorted": {"h": 0.7},
    "charge, wrong wire": {"h": 1.3},
    "charge like trigger": {"h": 20.6 / 441.0},
    "trigger like charge": {"l": 441.0 / 20.6},
    "lighting, bad joint": {"w": 6.0},
}
"""Factors on the ohms of trigger (l), charge (h) and lighting (w)."""

LEAD_OHM = 0.2
OVER = 3.0
"""An open input drives a converter to so many times its full scale."""

SHEET = """
[sheet]
name = "Teal 6"

[connector]
rows = [["1", "2", "3"], ["4", "5", ""]]

[[winding]]
name = "trigger"
between = ["1", "2"]
resistance = "20.6 ohm"
acceptance = "15 %"

[[winding]]
name = "charge"
between = ["2", "3"]
resistance = "441 ohm"
acceptance = "15 %"

[[winding]]
name = "lighting"
between = ["4", "5"]
resistance = "0.5 ohm"
acceptance = "30 %"

[[step]]
pair = ["4", "5"]

[[step]]
pair = ["1", "2"]

[[step]]
pair = ["2", "3"]

[[step]]
pair = ["1", "3"]
"""


@dataclass(frozen=True)
class Instrument:
    """A class of meter.

    Attributes:
        model: its file; every_s: of a conversion; share: of that during which it integrates.
        poll_s: between two questions; 0 sends every conversion.
        dial: a hand turns its range; else it finds it by itself.
    """

    model: str
    every_s: float
    share: float = 0.4
    poll_s: float = 0.0
    dial: bool = True


METERS = {
    "polled 2000": Instrument("hand-2000", 1 / 3, poll_s=0.5),
    "streaming 2000": Instrument("hand-2000", 1 / 3),
    "streaming 6000": Instrument("hand-6000", 1 / 5, dial=False),
}


ALIKE = "".join(
    f"""
[[winding]]
name = "phase {pin}"
between = ["{pin}", "N"]
resistance = "20.6 ohm"
acceptance = "15 %"
"""
    for pin in "UVW"
)
ALIKE = f"""
[sheet]
name = "Alder 3"
[connector]
rows = [["U", "V", "W", "N"]]
{ALIKE}
[[step]]
pair = ["U", "N"]
[[step]]
pair = ["V", "N"]
[[step]]
pair = ["W", "N"]
"""


@cache
def sheet(text: str = SHEET):
    """A unit type, low ohms by continuity."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "teal.toml")
        path.write_text(text, encoding="utf-8")
        return with_continuity(load_sheet(path), Purpose.FINAL)


@cache
def _model(name):
    return load_model(CONFIGS / "meters" / f"{name}.toml")


@dataclass
class Tally:
    """What some units came to."""

    units: int = 0
    steps: int = 0
    touches: int = 0
    failed: int = 0
    wrong: int = 0
    unjudged: int = 0
    bad: int = 0
    passed: int = 0
    seconds: float = 0.0
    told: Counter = field(default_factory=Counter)

    @property
    def per_step(self):
        """Touches a step."""
        return self.touches / self.steps


class Shift:
    """One bench, one pair of hands, in steps of 10 ms.

    Args:
        kind: of the meter.
        lift_s: from a verdict to the lift.
        seed: of values and delays.
        alike: units of three windings that read alike.
    """

    TICK_S = 0.01

    def __init__(self, kind: Instrument, lift_s: float, seed: int, *, alike: bool = False):
        self.kind, self.lift_s, self.dice, self.alike = kind, lift_s, random.Random(seed), alike
        model = _model(kind.model)
        self.ranges = model.ranges_of(Quantity.RESISTANCE)
        place = Circumstances(
            "b", Purpose.FINAL, sheet(ALIKE if alike else SHEET), "meter", model.name, "m", "b", "bench"
        )
        conditions = Conditions(temperature=Temperature(20.0, 0.2, 0.0), temperature_max_age_s=1e9)
        noise = max(each.noise_counts for each in self.ranges)
        ranging = Ranging.DIAL if kind.dial else Ranging.AUTO
        self.heart = Pipeline(
            place,
            model,
            conditions,
            settle=SettleSettings(noise_counts=noise),
            ranging=ranging,
        )
        self.now_s, self.number = 100.0, 0
        self.range = self.ranges[0]
        self.lies = math.inf  # what the probes lie on
        self.on = self.lay = None  # the pair that is; and that was when the meter showed a value last
        self.window: list[float] = []
        self.shown: tuple[float | None, float, float] | None = None
        self.next_s, self.poll_at_s = self.now_s + kind.every_s, self.now_s
        self.events: list = []
        self.tally = Tally()
        self.prompt = Prompt(Ask.START_UNIT, "")

    # ------------------------------------------------------------------ the meter

    def pass_time(self, seconds, until=None):
        """Let time pass, at most until something new is said; gives whether it was."""
        end_s, told = self.now_s + seconds, len(self.events)
        while self.now_s < end_s:
            self.now_s += self.TICK_S
            if self.next_s - self.now_s <= self.kind.share * self.kind.every_s:
                self.window.append(min(self.lies, OVER * self.range.full_scale_si))
            if self.now_s >= self.next_s:
                self._convert()
            if self.kind.poll_s and self.now_s >= self.poll_at_s:
                self.poll_at_s = self.now_s + self.kind.poll_s
                self._send()
            if until is not None and any(until(event) for event in self.events[told:]):
                return True
        return False

    def _convert(self):
        self.next_s += self.kind.every_s
        ohm = sum(self.window) / len(self.window) + self.dice.gauss(0.0, 0.3) * self.range.resolution_si
        self.window = []
        full, count = self.range.full_scale_si, self.range.resolution_si
        over = ohm > self.range.largest_si
        self.shown = (None if over else round(ohm / count) * count, full, count)
        if not self.kind.dial:
            fitting = [each for each in self.ranges if each.largest_si >= min(ohm, 1e6)] or [self.ranges[-1]]
            self.range = fitting[0]
        if not self.kind.poll_s:
            self._send()

    def _send(self):
        if self.shown is None:
            return
        value, full, count = self.shown
        self.number += 1
        if value is not None and self.on is not None:
            self.lay = self.on
        what = (Kind.OVERLOAD if value is None else Kind.VALUE, value, self.now_s, self.now_s, self.number)
        reading = Reading("meter", Quantity.RESISTANCE, *what, full, count, Origin.READ_BACK)
        self.take(self.heart.feed(reading))
        self.take(self.heart.tick(self.now_s, self.now_s))

    def take(self, new):
        """What the heart says."""
        for event in new:
            if isinstance(event, Prompt):
                self.prompt = event
            elif isinstance(event, Notice):
                self.tally.told[event.code] += 1
            elif isinstance(event, Judged):
                asked = (event.verdict.pin_a, event.verdict.pin_b)
                self.tally.wrong += asked not in (self.on, self.lay) and event.verdict.counts
                self.tally.wrong += self._strange(event.verdict)
        self.events += new

    def _strange(self, verdict):
        """Whether a value that counts is not what lies between its pins."""
        true = self.true.get((verdict.pin_a, verdict.pin_b))
        if not verdict.counts or verdict.reference_ohm is None or true is None:
            return False
        return not self.alike and abs(verdict.reference_ohm - true) > 0.03 * true + 3.0 * (
            verdict.resolution_ohm or 0.0
        )

    # ------------------------------------------------------------------ the hands

    def unit(self, serial, fault=""):
        """One unit from scan to result."""
        self.true = self._wound(fault)
        begun_s = self.now_s
        self.take(self.heart.command(StartUnit(serial), self.now_s, self.now_s))
        results = sum(isinstance(event, UnitResult) for event in self.events)
        for _ in range(80):
            done = [event for event in self.events if isinstance(event, UnitResult)]
            if len(done) > results:
                return self._done(done[-1], begun_s, fault)
            self._obey()
        raise AssertionError(self.prompt)

    def _wound(self, fault):
        """Ohms of a new unit, by pair."""
        d = self.dice
        if self.alike:
            return {(pin, "N"): 20.6 * d.gauss(1.0, 0.02) for pin in "UVW"}
        low, high, light = (ohm * d.gauss(1.0, 0.02) for ohm in (20.6, 441.0, 0.5))
        if fault:
            factors = [FAULTS[fault].get(name, 1.0) for name in "lhw"]
            low, high, light = (a * b for a, b in zip((low, high, light), factors, strict=True))
        return {("1", "2"): low, ("2", "3"): high, ("1", "3"): low + high, ("4", "5"): light}

    def _done(self, result, begun_s, fault):
        tally = self.tally
        if fault:
            tally.bad += 1
            tally.passed += result.outcome in (Outcome.PASS, Outcome.CONDITIONAL_PASS)
            self.pass_time(1.5)
            return result
        tally.units += 1
        tally.steps += result.steps_total
        tally.seconds += self.now_s - begun_s
        tally.failed += result.outcome in (Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
        tally.unjudged += result.outcome not in (Outcome.PASS, Outcome.FAIL, Outcome.CONDITIONAL_FAIL)
        self.pass_time(1.5)
        return result

    def _obey(self):
        """Lift where the probes lie, turn the dial if told to, touch, hold until something is said."""
        prompt = self.prompt
        self.lies, self.on = math.inf, None
        turn = prompt.facts.get("turn_ohm")
        if turn is not None and self.kind.dial:
            self.pass_time(1.0)
            self.range = next(each for each in self.ranges if each.full_scale_si == turn)
        self.pass_time(self.dice.uniform(0.35, 0.75))
        if prompt.ask is Ask.SHORT_PROBES:
            self.lies = LEAD_OHM
        else:
            self.on = tuple(prompt.pair)
            self.lies = self.true[self.on] + LEAD_OHM + abs(self.dice.gauss(0.0, 0.01))
            self.tally.touches += 1
        news = self.pass_time(10.0, until=self._is_news)
        for _ in range(3):
            if self.prompt.why is Why.SILENT and self.lies > self.range.largest_si:  # as asked
                self.pass_time(1.5)
                told = len(self.events)
                self.take(self.heart.command(ConfirmOpen(), self.now_s, self.now_s))
                news = any(map(self._is_news, self.events[told:]))
        if not news:
            self.tally.told["patience"] += 1
            self.lies = math.inf
            self.pass_time(1.0)
            return
        self.pass_time(self.lift_s)

    @staticmethod
    def _is_news(event):
        told = isinstance(event, Notice) and event.code in (Code.PAIR_OTHER, Code.PROBES_NOT_LIFTED)
        turn = isinstance(event, Prompt) and "turn_ohm" in event.facts and event.ask is not Ask.START_UNIT
        silent = isinstance(event, Prompt) and event.why is Why.SILENT
        return isinstance(event, Judged | LeadZero | UnitResult) or told or turn or silent


def work(
    kind: Instrument, lift_s: float, units: int, seed: int = 1, *, bad: int = 0, alike: bool = False
) -> Tally:
    """Some good units one after the other, then bad ones, each kind of fault in turn."""
    shift = Shift(kind, lift_s, seed, alike=alike)
    shift.true = {}
    shift.pass_time(1.0)
    for number in range(units):
        shift.unit(f"A{number}")
    good = replace(shift.tally)
    for number in range(bad):
        shift.unit(f"B{number}", list(FAULTS)[number % len(FAULTS)])
    return replace(good, bad=shift.tally.bad, passed=shift.tally.passed)


def main() -> None:
    """Print the table."""
    asks = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asks.add_argument("--units", type=int, default=200)
    asks.add_argument("--bad", type=int, default=70)
    asks.add_argument("--seed", type=int, default=1)
    asks.add_argument("--alike", action="store_true", help="units of three windings that read alike")
    given = asks.parse_args()
    bad = 0 if given.alike else given.bad
    heads = ("units", "touches/step", "s/unit", "failed", "wrong", "unjudged", "bad", "passed")
    print(f"{'meter':<16} {'lift':>5} " + " ".join(f"{head:>12}" for head in heads))
    for name, kind in METERS.items():
        for lift_s in (2.0, 0.9, 0.6, 0.4, 0.2):
            t = work(kind, lift_s, given.units, given.seed, bad=bad, alike=given.alike)
            told = ", ".join(f"{code}: {count}" for code, count in t.told.most_common(3))
            counts = (
                t.units,
                f"{t.per_step:.3f}",
                f"{t.seconds / t.units:.1f}",
                t.failed,
                t.wrong,
                t.unjudged,
            )
            row = " ".join(f"{value:>12}" for value in (*counts, t.bad, t.passed))
            print(f"{name:<16} {lift_s:>5.1f} {row}  {told}")
    print("goals at 0.4 s: failed 0, wrong 0, touches a step 1.15 or less; no bad unit passes")


if __name__ == "__main__":
    main()
