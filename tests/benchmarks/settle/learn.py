"""Learns the weights of `acquire.settle.doubt` from simulated benches with a known truth.

Every bench has a world of its own, drawn from the family of `worlds`. The filter runs with a doubt that never
objects, so that every stretch which passes a loose slope test is seen together with the error it would have
been reported with, and with what the bench had learnt by then; a share of the benches is kept from learning,
so that the first contacts of any bench are known too. A network of one hidden layer then learns three
things: the chance that the error is more than the band, the half-width that holds 95 % of the errors, and
the one that holds most of those beyond the band (pinball losses). Adam: Kingma and Ba, 2015 (from memory).
Seeds from 1 000 000 on are used here and nowhere else.
"""

from __future__ import annotations

import dataclasses
import math
import random
from array import array
from pathlib import Path
from unittest import mock

import numpy as np

import acquire.settle.weights
from acquire.records.settled import Settled
from acquire.settle import SettleFilter
from acquire.settle.doubt import ask

from .product import readings_of, settings_for
from .scoring import Detection, band, error, interval_s, owner
from .traces import make_bench
from .worlds import NAMED, drawn

SEED = 1_000_000
BENCHES = {"hand2000": 150, "hand6000": 100, "bench50000": 100, "bench65_10": 60, "bench65_50": 40}
TRACES = 70  # of each bench
NEW_BENCHES = 0.3  # share that is kept from learning
# Noise of one point while learning, a little above what the classes' files say: cautious.
NOISE_COUNTS = {"hand2000": 0.45, "hand6000": 0.6, "bench50000": 1.5, "bench65_10": 10.0, "bench65_50": 25.0}
HIDDEN, EPOCHS, BATCH, RATE = 24, 20, 512, 3e-3
LOOSE_HORIZON_S = 1.3
CEILING = 8.0  # errors beyond this many bands count as this many
FLOOR = 0.003
MOST_OF_THE_WRONG = 0.8
STRADDLE_S = 0.35  # a stretch so soon after a touch belongs to the contact before


def bench_seed(name: str, k: int) -> int:
    return SEED + 10 * k + list(BENCHES).index(name)


def observe(traces, meter_name: str, seed: int):
    """Signs, errors (in bands) and weights of every loosely passing stretch of one bench.

    Those of one contact weigh ever less: a report rests on the first that passes.
    """
    dice = random.Random(seed)
    new = dice.random() < NEW_BENCHES
    signs, errors, seen, places = [], array("f"), [], []
    settings = settings_for(
        meter_name,
        noise_counts=NOISE_COUNTS[meter_name],
        horizon_s=LOOSE_HORIZON_S,
        share=0.5,
        most_doubt=0.5,
    )

    def doubt(found):
        seen[:] = found
        return (0.0 if dice.random() < 0.6 else 1.0), 0.0, 0.0

    run = SettleFilter(settings, doubt)
    # Noise is learnt from reports, and here every point is one.
    with mock.patch("acquire.settle.filter.learn"):
        for number, trace in enumerate(traces):
            run.reset()
            if new:
                run.forget()
            step_s, bands = interval_s(trace), [band(c, trace) for c in trace.contacts]
            for reading in readings_of(trace):
                for event in run.feed(reading):
                    if not isinstance(event, Settled) or run._touch is None:
                        continue
                    run._touch.report = None  # look again at the next point, as if nothing had been said
                    k = owner(trace, event.monotonic_s, step_s)
                    if k is None or event.monotonic_s - trace.contacts[k].start_s < STRADDLE_S:
                        continue
                    detection = Detection(event.monotonic_s, event.value_si, 0.0)
                    signs.append(array("f", seen))
                    errors.append(error(trace.contacts[k], detection) / bands[k])
                    places.append((number, k))
    _, first, groups = np.unique(np.array(places), axis=0, return_index=True, return_inverse=True)
    earlier = np.arange(len(places)) - np.asarray(first)[np.ravel(groups)]
    return np.array(signs, dtype=np.float32), np.array(errors), 1.0 / np.sqrt(1.0 + earlier)


@dataclasses.dataclass
class Network:
    means: np.ndarray
    scales: np.ndarray
    hidden: np.ndarray  # signs x units
    bias: np.ndarray
    out: np.ndarray  # units x 3: log odds of wrong, log half-width, log of what the wrong are beyond the band
    out_bias: np.ndarray


def fit(signs, errors, weights, rng) -> Network:
    """Train by Adam with a cosine schedule."""
    means, scales = signs.mean(0), 1.0 / (signs.std(0) + 1e-6)
    x, size = ((signs - means) * scales).astype(np.float32), np.abs(errors)
    size = np.minimum(size, CEILING)
    wrong, width = (size > 1).astype(np.float32), np.log(size + FLOOR)
    beyond = np.log(np.maximum(size - 1, FLOOR))
    weights = weights / weights.mean()
    n, d = x.shape
    net = [
        rng.normal(size=(d, HIDDEN)) / math.sqrt(d),
        np.zeros(HIDDEN),
        rng.normal(size=(HIDDEN, 3)) / math.sqrt(HIDDEN),
        np.array([-5.0, -1.5, 0.0]),
    ]
    first, second, step = [np.zeros_like(p) for p in net], [np.zeros_like(p) for p in net], 0
    total = EPOCHS * (n // BATCH)
    for _ in range(EPOCHS):
        for rows in np.array_split(rng.permutation(n), n // BATCH):
            step += 1
            rate = RATE * 0.5 * (1 + math.cos(math.pi * min(step / total, 1.0)))
            for k, slope in enumerate(
                _slopes(net, *(column[rows] for column in (x, wrong, width, beyond, weights)))
            ):
                first[k] = 0.9 * first[k] + 0.1 * slope
                second[k] = 0.999 * second[k] + 0.001 * slope**2
                down = (first[k] / (1 - 0.9**step)) / (np.sqrt(second[k] / (1 - 0.999**step)) + 1e-8)
                net[k] = net[k] - rate * down
    return Network(means, scales, *net)


def _slopes(net, x, wrong, width, beyond, weights):
    """Gradients of cross entropy and of 0.2 times the pinball losses, the last one of the wrong alone."""
    z = np.tanh(x @ net[0] + net[1])
    o = z @ net[2] + net[3]
    up = np.empty_like(o)
    up[:, 0] = 1 / (1 + np.exp(-o[:, 0])) - wrong
    up[:, 1] = np.where(width > o[:, 1], -0.95, 0.05) * 0.2
    most = MOST_OF_THE_WRONG
    up[:, 2] = np.where(beyond > o[:, 2], -most, 1 - most) * wrong
    up *= weights[:, None] / len(x)
    back = (up @ net[2].T) * (1 - z * z)
    return x.T @ back, back.sum(0), z.T @ up, up.sum(0)


def write(net: Network, path: Path, note: str) -> None:
    """Write the weights as a module of plain numbers."""

    def row(values):
        return "(" + ", ".join(f"{float(v):.5g}" for v in values) + ")"

    # The network takes the signs as they are: their scales are part of the weights.
    hidden = net.hidden * net.scales[:, None]
    bias = net.bias - net.means @ hidden
    lines = [
        '"""Weights of `acquire.settle.doubt`, as `python -m tests.benchmarks.settle --learn` writes them.',
        "",
        *note.splitlines(),
        '"""',
        "",
        "from __future__ import annotations",
        "",
        "# ruff: noqa: E501 - a row of weights is one line",
        "# fmt: off",
        "HIDDEN = (",
        *(f"    ({row(hidden[:, k])}, {bias[k]:.5g})," for k in range(len(bias))),
        ")",
        "ANSWERS = (  # log odds of wrong, log half-width, log of what the wrong are beyond the band",
        *(f"    ({row(net.out[:, k])}, {net.out_bias[k]:.5g})," for k in range(3)),
        ")",
        "",
    ]
    path.write_text("\n".join(lines))


def learn() -> None:
    """Observe all benches, train, and write the module of weights; a class of meters weighs by its root."""
    classes = []
    for name, count in BENCHES.items():
        parts = []
        for k in range(count):
            seed = bench_seed(name, k)
            parts.append(observe(make_bench(name, TRACES, seed, drawn(seed)), name, seed))
        classes.append([np.concatenate(column) for column in zip(*parts, strict=True)])
        print(f"{name}: {len(classes[-1][1])} stretches", flush=True)
    save(classes)


def save(classes, path: Path = Path(acquire.settle.weights.__file__)) -> None:
    """Train, and write the module of weights with what they were learnt from."""
    for each in classes:
        each[2] = each[2] / math.sqrt(each[2].sum())
    signs, errors, weights = (np.concatenate(column) for column in zip(*classes, strict=True))
    net = fit(signs, errors, weights, np.random.default_rng(SEED))
    note = (
        f"Learnt from {len(errors)} stretches on {sum(BENCHES.values())} benches of the family\n"
        f"`tests.benchmarks.settle.worlds.drawn`, {TRACES} traces each, seeds from {SEED} on."
    )
    write(net, path, note)


ACCEPTED = (0.6, 0.7, 0.8, 0.9)
BOUND_SEED = 5_000_000


def bound(world: str, name: str, benches: int) -> None:
    """How well contacts of a world can be told at all: a network learnt on that very world, beside the doubt.

    Prints the per cent of false ones among the least doubted stretches, at several shares of these: what is
    held back costs delay. Every third bench is kept for this.
    """
    parts, kept = [], []
    for k in range(benches):
        seed, one_meter = BOUND_SEED + k, k % 2 == 1
        traces = make_bench(name, TRACES, seed, dataclasses.replace(NAMED[world], one_meter=one_meter))
        parts.append(observe(traces, name, seed))
        kept.append(np.full(len(parts[-1][1]), k % 3 == 0))
    signs, errors, weights = (np.concatenate(column) for column in zip(*parts, strict=True))
    held = np.concatenate(kept)
    net = fit(signs[~held], errors[~held], weights[~held], np.random.default_rng(SEED))
    z = np.tanh((signs[held] - net.means) * net.scales @ net.hidden + net.bias)
    chances = {
        "the product's doubt": np.array([ask(row.tolist())[0] for row in signs[held]]),
        "learnt on this world": (z @ net.out + net.out_bias)[:, 0],
    }
    for label, chance in chances.items():
        order = np.argsort(chance)
        share = np.cumsum(weights[held][order])
        false = np.cumsum((weights[held] * (np.abs(errors[held]) > 1))[order])
        at = np.searchsorted(share, np.array(ACCEPTED) * share[-1])
        told = ", ".join(
            f"{a:.0%}: {100 * f:.2f}" for a, f in zip(ACCEPTED, false[at] / share[at], strict=True)
        )
        print(f"{world:<12} {name:<11} {label:<21} false % of the accepted {told}", flush=True)
