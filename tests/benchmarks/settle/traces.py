"""Labelled traces: what a host sees of a bench session, and the truth about each contact.

Label rules. The truth of a contact is the plateau that the display tends to: winding, leads and final
contact resistance, moving with `drift`. It is settled from the first reading of a noise-free run inside
the band (3 counts or 0.2 %, the larger) of at least 1 s and 6 readings; never, where noise, pressure or
drift forbid stating it.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field

import numpy as np

from .hands import session
from .meters import METERS, SUBSAMPLES, Conversions, Unit, red_noise
from .worlds import LEARNT, World

BAND_COUNTS, BAND_RELATIVE = 3.0, 0.002
RUN_S, RUN_READINGS = 1.0, 6


@dataclass
class Contact:
    """The truth about one touch, times in seconds of the trace."""

    kind: str
    start_s: float
    settled_s: float | None
    end_s: float
    value: float  # at settled_s, else at start_s
    drift: float


@dataclass
class Trace:
    """One session. `readings` are [time s, ohm or None for overload, full scale, resolution]."""

    id: str
    meter: str
    readings: list
    contacts: list[Contact] = field(default_factory=list)
    bench: str = ""  # traces of one bench come in order; empty: a bench of its own


def make_trace(meter_name: str, key: tuple[int, ...], steps: int = 1, world: World = LEARNT) -> Trace:
    """One trace; the same key and world give the same trace."""
    rng = np.random.default_rng(key)
    meter = METERS[meter_name]

    def lasting():
        return np.random.default_rng((*key[:-1], 5)) if world.one_meter else None

    seen = session(meter, rng, steps, world, lasting())
    unit = Unit(meter, rng, world, lasting())
    conversions = _integrate(seen.touches, unit, unit.instants(seen.length_s))
    frames, labels = unit.read(conversions, _fixed_range(meter, seen.touches, rng))
    readings = [
        [
            round(t, 4),
            None if v is None else float(f"{v:.9g}"),
            meter.nominal * 10.0**r,
            float(f"{meter.resolution_ohm(r):.4g}"),
        ]
        for t, v, r in frames
    ]
    contacts = [_label(k, touch, unit, conversions.owner, labels) for k, touch in enumerate(seen.touches)]
    return Trace(f"{meter_name}-" + "-".join(map(str, key)), meter_name, readings, contacts)


def make_traces(meter_name: str, count: int, seed: int, world: World = LEARNT):
    """Traces of single steps, one in ten a whole unit of 4 to 8 steps."""
    for k in range(count):
        rng = np.random.default_rng((seed, k, 7))
        steps = int(rng.integers(4, 9)) if rng.random() < 0.1 else 1
        yield make_trace(meter_name, (seed, k), steps, world)


def make_bench(meter_name: str, count: int, seed: int, world: World):
    """Traces of one bench, in order."""
    for trace in make_traces(meter_name, count, seed, world):
        yield dataclasses.replace(trace, bench=f"{meter_name}-{seed}")


def _fixed_range(meter, touches, rng):
    """Some bench meters are set to one range, wide enough for the winding."""
    if meter.walks_ranges or rng.random() >= 0.35:
        return None
    biggest = max([t.ohm for t in touches if t.kind == "dut"] or [1e3])
    fits = (r for r in range(meter.ranges) if meter.full_scale_ohm(r) > 1.05 * biggest)
    return next(fits, meter.ranges - 1)


def _integrate(touches, unit, times_s) -> Conversions:
    """Average what the probes see over each integration."""
    n, rng = len(times_s), unit.rng
    aperture_s = min(unit.meter.aperture_s, 0.95 * unit.interval_s)
    parts = (np.arange(SUBSAMPLES) + 0.5) / SUBSAMPLES
    t = times_s[:, None] - aperture_s * parts[None, :]
    ohm = np.full(t.shape, np.inf)
    wander, owner = np.zeros(n), np.full(n, -1)
    hand = red_noise(rng, n, unit.interval_s, rng.uniform(0.3, 3.0))
    for k, touch in enumerate(touches):
        inside = (t >= touch.start_s) & (t < touch.end_s)
        ohm[inside] = touch.at(t[inside])
        rows = inside.any(axis=1)
        wander[rows] = touch.pressure_ohm * hand[rows]
        owner[inside.all(axis=1)] = k
    is_open = ~np.isfinite(ohm)
    share_open = is_open.mean(axis=1)
    total = np.where(is_open, 0.0, ohm).sum(axis=1)
    mean = total / np.maximum(SUBSAMPLES * (1 - share_open), 1e-9)
    mean = mean * (1 + 2 * rng.random(n) * share_open)  # an open in mid-integration reads high
    return Conversions(times_s, np.where(share_open >= 0.5, np.inf, mean), wander, owner)


def _label(k, touch, unit, owner, labels) -> Contact:
    own = [row for row in labels if owner[row[0]] == k and not row[4]]
    settled_s = _settled(touch, unit, own) if own else None
    at_s = touch.start_s if settled_s is None else settled_s
    value = touch.ohm + touch.drift * (at_s - touch.start_s)
    return Contact(touch.kind, touch.start_s, settled_s, touch.end_s, value, touch.drift)


def _settled(touch, unit, own):
    """First instant of the first long enough run in band, if the band can be met at all."""
    final_range = own[-1][3]
    count_ohm = unit.meter.resolution_ohm(final_range)
    band = max(BAND_COUNTS * count_ohm, BAND_RELATIVE * abs(touch.ohm))
    need_s = max(RUN_S, RUN_READINGS * unit.interval_s) - 0.5 * unit.interval_s
    start_s = None
    for _, t, ohm, r, _ in own:
        inside = r == final_range and abs(ohm - touch.ohm - touch.drift * (t - touch.start_s)) <= band
        start_s = (t if start_s is None else start_s) if inside else None
        if start_s is not None and t - start_s >= need_s:
            break
    else:
        return None
    big = 3.0 if final_range >= 5 else 1.0
    slow = math.hypot(
        touch.pressure_ohm, 0.8 * unit.flicker * count_ohm * big, 0.7 * unit.beat * count_ohm * big
    )
    fast = math.hypot(unit.white, 0.7 * unit.mains) * count_ohm * big
    left = max((touch.end_s - start_s) / unit.interval_s / 3, 1.0)
    hopeless = slow > band / 2.5 or 3.3 * math.hypot(fast / math.sqrt(left), slow / 2) > band
    return None if hopeless or abs(touch.drift) > band / 2 else start_s
