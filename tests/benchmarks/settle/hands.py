"""Simulated hands at a bench: touches, wrong pins, fingers, slips, and what the wire does meanwhile.

Every share and size is an assumption (workshop lore, no source); `worlds` holds them. Time constants L/R of
0.1 to 3 s stand for large windings on meters of low voltage; absorption of insulation follows the usual
two-stage picture (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from .meters import Meter
from .worlds import LEARNT, World, log_uniform, shapes

COPPER_PER_K = 0.00393  # temperature coefficient at 20 °C: IEC 60028


@dataclass
class Touch:
    """One contact: plateau + drift + decays + a half slip, broken by bounces."""

    kind: str  # dut or insul (the step); wrong, short, finger (on the way there)
    start_s: float
    end_s: float
    ohm: float
    drift: float = 0.0  # ohm per second
    decays: list = field(default_factory=list)  # (ohm, time constant s)
    shapes: list = field(default_factory=list)  # functions of the seconds since touch
    bump: tuple | None = None  # (centre s, width s, ohm)
    pressure_ohm: float = 0.0
    bounces: list = field(default_factory=list)  # (from s, to s)

    def at(self, t):
        """Ohms at the times t (array); infinite in a bounce."""
        x = t - self.start_s
        y = self.ohm + self.drift * x
        for ohm, tau_s in self.decays:
            y = y + ohm * np.exp(-x / tau_s)
        for shape in self.shapes:
            y = y + shape(x)
        if self.bump:
            centre_s, width_s, ohm = self.bump
            y = y + ohm * np.exp(-0.5 * ((t - centre_s) / width_s) ** 2)
        for start_s, end_s in self.bounces:
            y = np.where((t >= start_s) & (t < end_s), np.inf, y)
        return y


@dataclass
class Session:
    """All touches at one unit."""

    touches: list
    four_wire: bool
    length_s: float


class Hands:
    """One operator with one unit and one hook-up."""

    def __init__(self, meter: Meter, rng, world: World = LEARNT, lasting=None):
        self.meter, self.rng, self.world = meter, rng, world
        hook_up = lasting or rng
        self.four_wire = bool(hook_up.random() < meter.four_wire)
        self.lead_ohm = log_uniform(hook_up, 0.03, 0.25)
        self.cooling = 0.0
        if rng.random() < world.warm:  # just out of the oven
            hotter_k, tau_s = rng.uniform(10, 60), rng.uniform(600, 3000)
            self.cooling = -COPPER_PER_K * hotter_k / tau_s / (1 + COPPER_PER_K * hotter_k)
        self.touches: list[Touch] = []
        self.now_s = rng.uniform(0.4, 1.5)

    def touch(self, kind, length_s, ohm, rate=0.0):
        """Put the probes on something."""
        rng, world = self.rng, self.world
        new = Touch(kind, self.now_s, self.now_s + length_s, ohm, drift=ohm * rate)
        if not self.four_wire:
            new.ohm += self.lead_ohm + log_uniform(rng, *world.contact_ohm)
            new.pressure_ohm = log_uniform(rng, *world.pressure_ohm)
            if rng.random() < world.films:  # a film breaks, the pressure builds up
                new.decays.append((log_uniform(rng, *world.film_ohm), log_uniform(rng, *world.film_s)))
            if length_s > 3 and rng.random() < world.bumps:
                centre_s = new.start_s + rng.uniform(0.4, 0.9) * length_s
                new.bump = (centre_s, rng.uniform(0.1, 0.4), log_uniform(rng, 0.02, 0.5))
        if kind in ("dut", "wrong") and ohm < 300 and rng.random() < world.inductive:  # inductive
            size = ohm * log_uniform(rng, *world.inductive_size)
            tau_s = log_uniform(rng, *world.inductive_s)
            new.decays.append((size, tau_s))
            if rng.random() < world.iron:  # iron: a second, slower mode
                new.decays.append((0.1 * size, 3.0 * tau_s))
        if kind == "insul":  # capacitance first, then absorption
            new.decays += [
                (-0.8 * ohm, log_uniform(rng, 0.03, 0.6)),
                (-0.1 * ohm, log_uniform(rng, 0.5, 5.0)),
            ]
        if world is not LEARNT and kind in ("dut", "wrong"):
            new.shapes = shapes(world, rng, self.four_wire, ohm)
        t = self.now_s
        for _ in range(int(rng.integers(0, 4))):
            t += rng.uniform(0.005, 0.08)
            new.bounces.append((t, t + rng.uniform(0.003, 0.05)))
            t = new.bounces[-1][1]
        self.touches.append(new)
        return new

    def pause(self, shortest_s, longest_s):
        """Lift the probes."""
        self.now_s = self.touches[-1].end_s + self.rng.uniform(shortest_s, longest_s)

    def step(self, ohm, hold_s, insulation):
        """One step of a test, with what goes wrong on the way."""
        rng = self.rng
        if rng.random() < 0.05:
            self.touch("short", rng.uniform(0.3, 1.5), 0.0005)
            self.pause(0.05, 0.4)
        if rng.random() < self.world.wrong:
            other = (
                log_uniform(rng, 0.3, 50) if insulation else ohm * rng.choice([0.5, 2.0, rng.uniform(0.3, 3)])
            )
            self.touch("wrong", rng.uniform(0.3, 1.5), other)
            self.pause(0.05, 0.4)
        if (insulation or ohm > 800) and rng.random() < (0.4 if insulation else 0.25):
            self._finger(ohm)
        if math.isinf(ohm):  # beyond the meter: looks like open probes
            self.now_s += hold_s
            return
        kind = "insul" if insulation else "dut"
        if rng.random() < self.world.taps:  # an impatient tap
            self.touch(kind, rng.uniform(0.2, 1.0), ohm, self.cooling)
            self.pause(0.2, 0.8)
        main = self.touch(kind, hold_s, ohm, self.cooling)
        main.end_s += min(self._creep_s(main, ohm), 9.0)  # the operator waits for the sound
        if rng.random() < self.world.slips:
            self._slip(main, kind, ohm, hold_s)
        self.pause(0.4, 2.0)

    def _finger(self, ohm):
        """The body in parallel, its skin drying; the finger leaves and the probes stay."""
        rng = self.rng
        body = log_uniform(rng, 1e5, 1e6)
        both = ohm * body / (ohm + body) if math.isfinite(ohm) else body
        new = self.touch("finger", rng.uniform(0.5, 2.5), both)
        new.drift = rng.uniform(-0.04, 0.06) * body * (both / body) ** 2
        new.decays = []
        self.pause(0.0, 1e-3)

    def _creep_s(self, touch, ohm):
        band = max(3 * self.meter.count_ohm, 0.002 * ohm)
        return max([tau_s * math.log(max(abs(size) / band, 1.0)) for size, tau_s in touch.decays] + [0.0])

    def _slip(self, main, kind, ohm, hold_s):
        at_s = main.start_s + self.rng.uniform(0.3, 0.8) * (main.end_s - main.start_s)
        self.now_s = at_s + log_uniform(self.rng, 0.02, 0.8)
        again = self.touch(kind, 1.0, ohm * (1 + self.cooling * (at_s - main.start_s)), self.cooling)
        again.end_s, main.end_s = max(main.end_s, again.start_s + hold_s), at_s


def session(meter: Meter, rng, steps: int, world: World = LEARNT, lasting=None) -> Session:
    """A unit of so many steps; `lasting` are the dice of what stays the same at a bench."""
    hands = Hands(meter, rng, world, lasting)
    base = log_uniform(rng, 0.15, 5000.0)
    for k in range(steps):
        if k and rng.random() < 0.4:  # the next phase is alike, else anything
            ohm = base * rng.normal(1.0, 0.01)
        else:
            ohm = base = log_uniform(rng, 0.15, 5000.0)
        insulation = (steps > 1 and k == steps - 1) or (steps == 1 and rng.random() < 0.05)
        if insulation:
            most = 0.95 * meter.full_scale_ohm(meter.ranges - 1)
            ohm = log_uniform(rng, 1e7, most) if most > 1.2e7 and rng.random() < 0.5 else math.inf
        hold_s = rng.uniform(*world.hold_s) + (2.5 if meter.walks_ranges else 0.3)
        hands.step(ohm, hold_s, insulation)
    return Session(hands.touches, hands.four_wire, hands.now_s + 0.3)
