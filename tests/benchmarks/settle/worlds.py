"""Worlds: what contacts, windings, hands and meters do at one bench. The family that the doubt learns from.

A world holds every constant of the generator; `LEARNT` is the one of the first study. `drawn` gives a bench
of the family: each constant anew. Half of the benches stay near `LEARNT`, the others go as far as the limits
written in `drawn`: films, L/R, slips, taps and wrong pins at other shares, time constants of 0.05 to 20 s,
noise and flicker times 0.3 to 3, other filters of the meter, and shapes that the first study had not:

power     a film that thins like (1 + t / t0) ** -b
steps     stick-slip: the contact betters itself in sudden steps, at random times
emf       thermal voltage of a warm joint that decays, four-wire hook-ups too
drying    a wet or oily contact that dries at a steady rate, then is dry
beat      the mains line seen through a meter that samples it once a second or slower

`NAMED` are the worlds of the tables. Some have shapes that the family never draws: `long tails` (a film
that thins by other exponents), `swinging` and `loose` (a damped oscillation of a hand-held clip), `heating`
(the test current warms a thin wire), `stretched` (iron whose current settles like exp(-sqrt(t / tau))) and
`humps` (rises before it falls). The last three worlds are blind: not looked at while the rule was changed.
All shares and sizes are assumptions, workshop lore, no source.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

Span = tuple[float, float]  # limits of a log-uniform draw


def log_uniform(rng, low, high):
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


@dataclass(frozen=True)
class World:
    """Constants of one bench; ohm and seconds; shares are chances per contact or step."""

    contact_ohm: Span = (0.003, 0.12)
    pressure_ohm: Span = (0.0003, 0.02)
    films: float = 0.35
    film_ohm: Span = (0.005, 0.3)
    film_s: Span = (0.2, 8.0)
    bumps: float = 0.08
    inductive: float = 0.35
    inductive_size: Span = (0.05, 20.0)
    inductive_s: Span = (0.1, 3.0)
    iron: float = 0.3
    taps: float = 0.06
    wrong: float = 0.12
    slips: float = 0.12
    warm: float = 0.2
    hold_s: Span = (2.5, 7.0)
    noise: float = 1.0  # factors on the class's noise, flicker and mains
    flicker: float = 1.0
    mains: float = 1.0
    filters: tuple[float, float, float] = (0.3, 0.35, 0.35)  # none, exponential, moving average
    weight: Span = (0.3, 0.8)
    average: float = 1.0  # factor on the class's longest moving average
    beat_counts: float = 0.0  # in units of the class's largest white noise
    power: float = 0.0  # shares of the other shapes
    steps: float = 0.0
    emf: float = 0.0
    drying: float = 0.0
    swinging: float = 0.0
    heating: float = 0.0
    stretched: float = 0.0
    humps: float = 0.0
    steep: Span = (0.7, 2.5)  # exponents of the films that thin
    shape_ohm: Span = (0.02, 1.0)
    shape_s: Span = (0.5, 10.0)
    one_meter: bool = False  # noise, filter and leads are drawn once a bench, not once a trace


LEARNT = World()

NAMED = {
    "learnt": LEARNT,
    "dirty": World(films=0.7, film_ohm=(0.01, 0.8), film_s=(0.5, 15.0), pressure_ohm=(0.001, 0.05)),
    "iron": World(inductive=0.7, inductive_s=(0.4, 9.0), iron=0.6),
    "noisy": World(noise=2.5, flicker=2.5, mains=2.0),
    "quiet": World(noise=0.35, flicker=0.35, mains=0.35, films=0.15, inductive=0.15),
    "thinning": World(power=0.5, films=0.1),
    "slipping": World(steps=0.4, slips=0.25, taps=0.15, films=0.2),
    "warm joints": World(emf=0.6, shape_ohm=(0.01, 0.3), shape_s=(2.0, 15.0), drying=0.15),
    "long tails": World(power=0.4, steep=(0.3, 0.6), films=0.1, shape_ohm=(0.01, 0.5), shape_s=(0.2, 2.0)),
    "wet": World(drying=0.6, films=0.1, shape_s=(2.0, 12.0)),
    "swinging": World(swinging=0.5, shape_s=(0.4, 3.0), films=0.2),
    "heating": World(heating=0.5, shape_s=(2.0, 12.0), films=0.2),
    "stretched": World(stretched=0.5, inductive=0.1, shape_s=(0.1, 1.5)),
    "oily": World(power=0.3, drying=0.3, films=0.4, steep=(0.5, 1.5), shape_ohm=(0.02, 0.6), noise=1.5),
    "loose": World(steps=0.3, swinging=0.25, bumps=0.3, slips=0.2, films=0.3, pressure_ohm=(0.001, 0.04)),
    "humps": World(humps=0.4, inductive=0.45, iron=0.6, shape_ohm=(0.02, 0.5), shape_s=(0.5, 6.0)),
}


def drawn(seed: int) -> World:
    """One bench of the family."""
    rng = np.random.default_rng((seed, 19))
    one_meter = bool(rng.random() < 0.5)
    if rng.random() < 0.25:
        return dataclasses.replace(LEARNT, one_meter=one_meter)
    far = 0.4 if rng.random() < 0.33 else 1.0  # how far this bench may lie from the first study

    def times(low, high):
        return math.exp(far * rng.uniform(math.log(low), math.log(high)))

    def share(usual, least, most):
        return usual + far * (rng.uniform(least, most) - usual)

    def seconds(span):
        low, high = span[0] * times(0.3, 3.0), span[1] * times(0.4, 4.0)
        return max(0.05, low), min(20.0, max(high, 1.5 * low))

    def now_and_then(most):
        return far * rng.uniform(0.05, most) if rng.random() < 0.25 else 0.0

    size = times(0.4, 4.0)
    weight = LEARNT.weight[0] * times(0.6, 1.2)
    hold_s = 2.5 * times(0.7, 1.8)
    return World(
        contact_ohm=(0.003, 0.12 * times(0.5, 5.0)),
        pressure_ohm=(0.0003 * times(0.5, 4.0), 0.02 * times(0.3, 3.0)),
        films=share(LEARNT.films, 0.05, 0.9),
        film_ohm=(LEARNT.film_ohm[0] * size, LEARNT.film_ohm[1] * size),
        film_s=seconds(LEARNT.film_s),
        bumps=share(LEARNT.bumps, 0.0, 0.2),
        inductive=share(LEARNT.inductive, 0.05, 0.85),
        inductive_size=(0.05 * times(0.4, 3.0), 20.0),
        inductive_s=seconds(LEARNT.inductive_s),
        iron=share(LEARNT.iron, 0.0, 0.7),
        taps=share(LEARNT.taps, 0.0, 0.25),
        wrong=share(LEARNT.wrong, 0.0, 0.25),
        slips=share(LEARNT.slips, 0.0, 0.3),
        warm=share(LEARNT.warm, 0.0, 0.5),
        hold_s=(hold_s, max(7.0 * times(0.7, 2.0), 1.2 * hold_s)),
        noise=times(0.3, 3.0),
        flicker=times(0.3, 3.0),
        mains=times(0.3, 3.0),
        filters=tuple(rng.dirichlet((2.0, 2.0, 2.0))),
        weight=(weight, max(0.8, weight)),
        average=times(0.7, 2.0),
        beat_counts=now_and_then(0.5),
        power=now_and_then(0.6),
        steps=now_and_then(0.5),
        emf=now_and_then(0.6),
        drying=now_and_then(0.4),
        shape_ohm=(0.01 * times(0.5, 3.0), 0.5 * times(0.5, 3.0)),
        shape_s=(0.3 * times(0.3, 3.0), min(20.0, 8.0 * times(0.5, 2.5))),
        one_meter=one_meter,
    )


def shapes(world: World, rng, four_wire: bool, ohm: float) -> list:
    """What a contact has beyond films and L/R: functions of the seconds since touch, tending to 0."""
    found = []
    size, tau_s = log_uniform(rng, *world.shape_ohm), log_uniform(rng, *world.shape_s)
    way = 1.0 if rng.random() < 0.8 else -1.0
    kinds = rng.random(7)
    if not four_wire and kinds[0] < world.power:
        steep = rng.uniform(*world.steep)
        found.append(lambda x: size * (1 + x / tau_s) ** -steep)
    if not four_wire and kinds[1] < world.steps:
        at_s = np.sort(rng.exponential(tau_s, int(rng.integers(1, 5))))
        each = rng.dirichlet(np.ones(len(at_s))) * size
        found.append(lambda x: ((x[..., None] < at_s) * each).sum(-1))
    if kinds[2] < world.emf:
        found.append(lambda x: way * size * np.exp(-x / tau_s))
    if not four_wire and kinds[3] < world.drying:
        found.append(lambda x: way * size * np.maximum(1 - x / (1.5 * tau_s), 0.0))
    if not four_wire and kinds[4] < world.swinging:
        pace = rng.uniform(0.15, 1.5)
        found.append(lambda x: size * np.exp(-x / tau_s) * np.cos(2 * np.pi * pace * x))
    if kinds[5] < world.heating:
        warmer = ohm * log_uniform(rng, 0.001, 0.02)
        found.append(lambda x: -warmer * np.exp(-x / tau_s))
    if kinds[6] < world.stretched and ohm < 300:
        iron = ohm * log_uniform(rng, 0.05, 10.0)
        found.append(lambda x: iron * np.exp(-np.sqrt(x / tau_s)))
    if world.humps and rng.random() < world.humps:
        found.append(lambda x: way * size * (x / tau_s) * np.exp(1 - x / tau_s))
    return found
