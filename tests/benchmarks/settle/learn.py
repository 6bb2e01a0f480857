"""Learns the weights of `acquire.settle.doubt` from simulated contacts with a known truth.

The filter runs with a doubt that never objects, so that every stretch which passes a loose slope test is
seen together with the error it would have been reported with. A network of one hidden layer then learns
two things: the chance that the error is more than the band, and the half-width that holds 95 % of the
errors (pinball loss). Adam: Kingma and Ba, 2015 (from memory). Seeds from 1 000 000 on are used here and
nowhere else.
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

from .product import readings_of, settings_for
from .scoring import Detection, band, error, interval_s, owner
from .traces import make_traces

SEED = 1_000_000
TRACES = (  # class, seed, traces: more of those classes in which contacts creep unseen
    ("hand2000", SEED, 10_000),
    ("hand6000", SEED, 10_000),
    ("hand6000", 2 * SEED, 4_000),
    ("bench50000", SEED, 9_000),
    ("bench50000", 2 * SEED, 9_000),
    ("bench65_10", SEED, 8_000),
    ("bench65_10", 2 * SEED, 10_000),
    ("bench65_50", SEED, 5_000),
    ("bench65_50", 2 * SEED, 4_000),
)
# Noise of one point while learning, a little above what the classes' files say: cautious.
NOISE_COUNTS = {"hand2000": 0.45, "hand6000": 0.6, "bench50000": 1.5, "bench65_10": 10.0, "bench65_50": 25.0}
HIDDEN, EPOCHS, BATCH, RATE = 24, 14, 512, 3e-3
LOOSE_HORIZON_S = 1.3
CEILING = 3.0  # errors beyond this many bands count as this many
FLOOR = 0.003
STRADDLE_S = 0.35  # a stretch so soon after a touch belongs to the contact before


def observe(meter_name: str, count: int, seed: int):
    """Signs and errors (in bands) of every loosely passing stretch of many traces."""
    dice = random.Random(seed)
    signs, errors = array("f"), array("f")
    settings = settings_for(
        meter_name,
        noise_counts=NOISE_COUNTS[meter_name],
        horizon_s=LOOSE_HORIZON_S,
        share=0.5,
        most_doubt=0.5,
    )
    with mock.patch(
        "acquire.settle.filter.learn"
    ):  # noise is learnt from reports, and here every point is one
        for trace in make_traces(meter_name, count, seed):
            _observe(trace, settings, dice, signs, errors)
    width = len(acquire.settle.weights.MEANS)
    return np.array(signs).reshape(-1, width), np.array(errors)


def _observe(trace, settings, dice, signs, errors):
    seen = []

    def doubt(found):
        seen.append(found)
        return (0.0 if dice.random() < 0.6 else 1.0), 0.0

    run = SettleFilter(settings, doubt)
    step_s, bands = interval_s(trace), [band(c, trace) for c in trace.contacts]
    for reading in readings_of(trace):
        for event in run.feed(reading):
            if not isinstance(event, Settled):
                continue
            run._touch.report = None  # look again at the next point, as if nothing had been said
            k = owner(trace, event.monotonic_s, step_s)
            if k is None or event.monotonic_s - trace.contacts[k].start_s < STRADDLE_S:
                continue
            detection = Detection(event.monotonic_s, event.value_si, 0.0)
            signs.extend(seen[-1])
            errors.append(error(trace.contacts[k], detection) / bands[k])


@dataclasses.dataclass
class Network:
    means: np.ndarray
    scales: np.ndarray
    hidden: np.ndarray  # signs x units
    bias: np.ndarray
    out: np.ndarray  # units x 2: log odds of wrong, log half-width
    out_bias: np.ndarray


def fit(signs, errors, rng) -> Network:
    """Train by Adam with a cosine schedule."""
    means, scales = signs.mean(0), 1.0 / (signs.std(0) + 1e-6)
    x, size = ((signs - means) * scales).astype(np.float32), np.abs(errors)
    wrong, width = (size > 1).astype(np.float32), np.log(np.minimum(size, CEILING) + FLOOR)
    n, d = x.shape
    net = [
        rng.normal(size=(d, HIDDEN)) / math.sqrt(d),
        np.zeros(HIDDEN),
        rng.normal(size=(HIDDEN, 2)) / math.sqrt(HIDDEN),
        np.array([-5.0, -1.5]),
    ]
    first, second, step = [np.zeros_like(p) for p in net], [np.zeros_like(p) for p in net], 0
    total = EPOCHS * (n // BATCH)
    for _ in range(EPOCHS):
        for rows in np.array_split(rng.permutation(n), n // BATCH):
            step += 1
            rate = RATE * 0.5 * (1 + math.cos(math.pi * min(step / total, 1.0)))
            for k, slope in enumerate(_slopes(net, x[rows], wrong[rows], width[rows])):
                first[k] = 0.9 * first[k] + 0.1 * slope
                second[k] = 0.999 * second[k] + 0.001 * slope**2
                down = (first[k] / (1 - 0.9**step)) / (np.sqrt(second[k] / (1 - 0.999**step)) + 1e-8)
                net[k] = net[k] - rate * down
    return Network(means, scales, *net)


def _slopes(net, x, wrong, width):
    """Gradients of cross entropy and of 0.05 times the pinball loss at 95 %."""
    z = np.tanh(x @ net[0] + net[1])
    o = z @ net[2] + net[3]
    up = np.empty_like(o)
    up[:, 0] = 1 / (1 + np.exp(-o[:, 0])) - wrong
    up[:, 1] = np.where(width > o[:, 1], -0.95, 0.05) * 0.2
    up /= len(x)
    back = (up @ net[2].T) * (1 - z * z)
    return x.T @ back, back.sum(0), z.T @ up, up.sum(0)


def write(net: Network, path: Path, note: str) -> None:
    """Write the weights as a module of plain numbers."""

    def row(values):
        return "(" + ", ".join(f"{float(v):.4g}" for v in values) + ")"

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
        f"MEANS = {row(net.means)}",
        f"SCALES = {row(net.scales)}",
        "HIDDEN = (",
        *(f"    ({row(net.hidden[:, k])}, {net.bias[k]:.4g})," for k in range(len(net.bias))),
        ")",
        f"CHANCE = {row(net.out[:, 0])}",
        f"CHANCE_BIAS = {net.out_bias[0]:.4g}",
        f"WIDTH = {row(net.out[:, 1])}",
        f"WIDTH_BIAS = {net.out_bias[1]:.4g}",
        "",
    ]
    path.write_text("\n".join(lines))


def learn() -> None:
    """Observe all classes, train, and write the module of weights."""
    parts = []
    for name, seed, count in TRACES:
        signs, errors = observe(name, count, seed)
        print(f"{name}: {len(errors)} stretches, {100 * np.mean(np.abs(errors) > 1):.2f} % wrong", flush=True)
        parts.append((signs, errors))
    signs, errors = (np.concatenate(column) for column in zip(*parts, strict=True))
    net = fit(signs, errors, np.random.default_rng(SEED))
    total = sum(count for _, _, count in TRACES)
    note = f"Learnt from {len(errors)} stretches of {total} simulated traces, seeds {SEED} and {2 * SEED}."
    write(net, Path(acquire.settle.weights.__file__), note)
