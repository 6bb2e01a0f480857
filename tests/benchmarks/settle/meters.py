"""Simulated meters: ranging, integration, noise, the meter's own filter, counts, and the frames on the
wire.

Each conversion is worked out twice, with and without noise; the noise-free display gives the labels.
"""

from __future__ import annotations

# ruff: noqa: E501 - the table of meters has one line a meter
import math
from dataclasses import dataclass

import numpy as np

from .worlds import LEARNT, World, log_uniform

SUBSAMPLES = 5  # of one integration


@dataclass(frozen=True)
class Meter:
    """One class of meters. Pairs are limits of a draw: uniform for times, log-uniform for noise."""

    name: str
    counts: int  # largest count shown
    nominal: int  # full scale of the lowest range, ohm
    count_ohm: float  # worth of a count in the lowest range
    ranges: int  # in decades
    rate_hz: tuple[float, float]
    aperture_s: float
    white_counts: tuple[float, float]
    flicker_counts: tuple[float, float]
    mains_counts: tuple[float, float]
    walks_ranges: bool  # a hand meter steps one range at a time, and the host sees it
    range_s: tuple[float, float]  # time for one change of range
    four_wire: float  # share of four-wire hook-ups
    longest_average: int  # of its own moving-average filter
    noise_counts: float  # what the meter's file would say of 80 ms of conversions

    def full_scale_ohm(self, r: int) -> float:
        return self.counts * self.count_ohm * 10.0**r

    def resolution_ohm(self, r: int) -> float:
        return self.count_ohm * 10.0**r


METERS = {
    m.name: m
    for m in (
        Meter("hand2000", 1999, 200, 0.1, 6, (2.0, 3.0), 0.20, (0.05, 0.6), (0.02, 0.3), (0.02, 0.5), True, (0.1, 0.4), 0.0, 3, 0.42),
        Meter("hand6000", 5999, 600, 0.1, 6, (2.95, 3.05), 0.15, (0.1, 1.0), (0.05, 0.5), (0.02, 0.8), True, (0.05, 0.3), 0.0, 4, 0.55),
        Meter("bench50000", 50000, 500, 0.01, 6, (4.9, 5.1), 0.12, (0.3, 3.0), (0.1, 1.5), (0.1, 2.0), True, (0.1, 0.25), 0.3, 5, 1.35),
        Meter("bench65_10", 1200000, 100, 1e-4, 7, (9.8, 10.1), 0.08, (2.0, 15.0), (1.0, 8.0), (1.0, 10.0), False, (0.05, 0.3), 0.7, 8, 7.0),
        Meter("bench65_50", 1200000, 100, 1e-4, 7, (49.0, 50.5), 0.018, (10.0, 100.0), (3.0, 30.0), (5.0, 100.0), False, (0.03, 0.2), 0.7, 12, 18.0),
    )
}  # fmt: skip


def red_noise(rng, n, interval_s, tau_s):
    """Ornstein-Uhlenbeck noise of unit variance."""
    keep = math.exp(-interval_s / tau_s)
    push = math.sqrt(1 - keep * keep)
    out = np.empty(n)
    level = 0.0
    for k, z in enumerate(rng.normal(size=n).tolist()):
        level = z if k == 0 else keep * level + push * z
        out[k] = level
    return out


@dataclass
class Conversions:
    """What the meter integrates, conversion by conversion, before ranging."""

    times_s: np.ndarray
    ohm: np.ndarray  # infinite while open for more than half of the integration
    wander_ohm: np.ndarray  # pressure of the hand
    owner: np.ndarray  # touch that fills the whole integration, else -1


class Unit:
    """One meter off the line: its noise, its filter, its link."""

    def __init__(self, meter: Meter, rng, world: World = LEARNT, lasting=None):
        self.meter, self.rng = meter, rng
        lasting = lasting or rng
        self.interval_s = 1.0 / lasting.uniform(*meter.rate_hz)
        self.white, self.flicker, self.mains = (
            factor * log_uniform(lasting, *limits)
            for factor, limits in (
                (world.noise, meter.white_counts),
                (world.flicker, meter.flicker_counts),
                (world.mains, meter.mains_counts),
            )
        )
        self.beat, self.beat_hz = world.beat_counts * meter.white_counts[1], 0.0
        if self.beat:
            self.beat_hz = log_uniform(rng, 0.03, 1.0)
        self.smoothing = str(lasting.choice(["none", "exponential", "average"], p=world.filters))
        self.weight = lasting.uniform(*world.weight)
        self.average = int(lasting.integers(2, round(meter.longest_average * world.average) + 1))
        self.restart = lasting.choice(
            [0.02, 0.1, 1e9], p=[0.5, 0.3, 0.2]
        )  # a jump this large restarts the filter
        self.lost, self.doubled, self.blips = (
            rng.choice([0, top]) * rng.random() for top in (0.03, 0.06, 0.004)
        )
        self.latency_s = rng.uniform(0, 0.02)

    def instants(self, length_s):
        n = int(length_s / self.interval_s)
        jitter = self.rng.normal(0, 0.01 * self.interval_s, n)
        return (np.arange(1, n + 1) + self.rng.uniform()) * self.interval_s + jitter

    def noise_counts(self, times_s):
        n = len(times_s)
        slow = sum(red_noise(self.rng, n, self.interval_s, tau_s) for tau_s in (0.3, 3.0, 30.0)) / math.sqrt(
            3
        )
        line_hz = self.rng.uniform(0.05, 0.5 / self.interval_s)
        mains = np.sin(2 * np.pi * (line_hz * times_s + self.rng.random()))
        beat = self.beat * np.sin(2 * np.pi * self.beat_hz * times_s)
        return self.white * self.rng.normal(size=n) + self.flicker * slow + self.mains * mains + beat

    def read(self, conversions: Conversions, fixed_range: int | None):
        """Turn conversions into frames.

        Returns:
            Frames (time, value or None, range), and the noise-free display (index, time, ohm, range, blip).
        """
        return _Display(self, fixed_range).run(conversions)


class _Display:
    """Ranging, filtering and rounding, one conversion after the other."""

    def __init__(self, unit: Unit, fixed_range: int | None):
        self.unit, self.meter, self.rng = unit, unit.meter, unit.rng
        self.top = self.meter.ranges - 1
        self.fixed = fixed_range is not None
        self.range = self.top if fixed_range is None else fixed_range
        self.busy_until_s, self.first, self.gap = 0.0, False, 0
        self.clean, self.noisy = [], []  # memory of the meter's filter
        self.frames, self.labels = [], []

    def run(self, conversions: Conversions):
        n = len(conversions.times_s)
        noise = self.unit.noise_counts(conversions.times_s)
        dice = self.rng.random((n, 4))
        for k in range(n):
            big = 3.0 if self.range >= 5 else 1.0  # the highest ranges are noisier
            ohm = float(conversions.ohm[k])
            shown = (
                ohm
                + float(conversions.wander_ohm[k])
                + float(noise[k]) * self.meter.resolution_ohm(self.range) * big
            )
            if self.meter.counts < 10000:
                shown = max(shown, 0.0)  # hand meters show no negative ohms
            self._conversion(k, float(conversions.times_s[k]), ohm, shown, dice[k])
        return self.frames, self.labels

    def _frame(self, t, value):
        self.frames.append((t + self.unit.latency_s, value, self.range))

    def _rounded(self, value):
        count = self.meter.resolution_ohm(self.range)
        return round(value / count) * count

    def _conversion(self, k, t, ohm, shown, dice):
        if t < self.busy_until_s:
            if self.meter.walks_ranges and dice[0] < 0.6:
                self._frame(t, None)
            return
        full_scale = self.meter.full_scale_ohm(self.range)
        over = not ohm <= full_scale
        wrong = (over and self.range < self.top) or (ohm < 0.09 * full_scale and self.range > 0)
        if wrong and not self.fixed:
            self._change_range(t, ohm, shown, over, dice)
        elif over:
            self.clean, self.noisy = [], []
            self._frame(t, None)
        else:
            self._show(k, t, ohm, shown, dice)

    def _change_range(self, t, ohm, shown, over, dice):
        if self.meter.walks_ranges:
            if over:
                self._frame(t, None)
            elif dice[1] < 0.6:
                self._frame(t, self._rounded(shown))  # a coarse reading on the way down
            self.range += 1 if over else -1
        else:
            fits = (r for r in range(self.top + 1) if self.meter.full_scale_ohm(r) >= ohm)
            self.range = next(fits, self.top)
            if math.isinf(ohm):
                self._frame(t, None)
        self.busy_until_s = t + self.rng.uniform(*self.meter.range_s)
        self.first, self.clean, self.noisy = True, [], []

    def _show(self, k, t, ohm, shown, dice):
        if self.first:
            self.first = False
            if dice[1] < 0.1:
                self._frame(t, None)
                return
            if dice[1] < (0.45 if self.meter.walks_ranges else 0.2):  # not yet at rest in the new range
                off = 1 + (dice[2] - 0.5) * 0.08
                ohm, shown = ohm * off, shown * off
        ohm, shown = self._smooth(ohm, shown)
        blip = dice[0] < self.unit.blips
        self.labels.append((k, t + self.unit.latency_s, ohm, self.range, blip))
        if self.gap > 0 or dice[3] < self.unit.lost / 3:  # one to five frames are lost
            self.gap = self.gap - 1 if self.gap > 0 else int(dice[2] * 5)
            return
        value = None if blip else self._rounded(shown)
        self._frame(t, value)
        if dice[1] < self.unit.doubled:
            self._frame(t + 0.25 * self.unit.interval_s * float(dice[2]), value)

    def _smooth(self, ohm, shown):
        unit = self.unit
        if self.clean and abs(ohm - self.clean[-1]) > unit.restart * abs(self.clean[-1]):
            self.clean, self.noisy = [], []
        if unit.smoothing == "exponential" and self.clean:
            ohm = self.clean[-1] + unit.weight * (ohm - self.clean[-1])
            shown = self.noisy[-1] + unit.weight * (shown - self.noisy[-1])
        keep = unit.average - 1 if unit.smoothing == "average" else 0
        self.clean = [*(self.clean[-keep:] if keep else []), ohm]
        self.noisy = [*(self.noisy[-keep:] if keep else []), shown]
        return sum(self.clean) / len(self.clean), sum(self.noisy) / len(self.noisy)
