"""Benches of many worlds, scored after a warm-up: with and without the network, with and without learning."""

from __future__ import annotations

import dataclasses
import math
import time

from acquire.settle import SettleFilter

from . import product
from .scoring import Score, add
from .traces import make_bench
from .worlds import NAMED, World, drawn

WARM_UP = 40  # contacts of a bench that are not scored
FAMILY_SEED = 3_000_000  # of held-out benches; never learnt from
BY_CONTACT = (0, 10, 20, 40, 80)  # coverage of contacts from one of these up to the next

HEAD = (
    f"{'world':<12} {'class':<11} {'variant':<11} {'reports':>7} {'false %':>18} {'U says so':>9} "
    f"{'missed %':>8} {'delay s 50/90':>13} {'cover':>6} {'us':>5}"
)


def slower(factor: float, held_s: float) -> type[SettleFilter]:
    """The product's filter, its doubt weighed by a factor; it reports what has passed for so long already."""

    class Slower(SettleFilter):
        _passed = None  # the contact's points, and when they first passed

        def take_up(self, learned):
            super().take_up(learned)
            self._bench.caution *= factor

        def _judge(self, touch, *limits):
            first, points = touch.first, touch.points
            unrest, rest = super()._judge(touch, *limits)
            if rest is None:
                self._passed = None
            if rest is None or touch.report is not None or limits[-1] != self._settings.most_doubt:
                return unrest, rest
            now_s = points.times_s[-1]
            if self._passed is None or self._passed[0] is not points:
                self._passed = points, now_s
            if now_s - self._passed[1] >= held_s:
                return unrest, rest
            touch.first = first
            return 2.0, None

    return Slower


def never(_: list[float]) -> tuple[float, float, float]:
    """The doubt of a filter without a network."""
    return 0.0, 0.0, 0.0


VARIANTS = {
    "filter": {},
    "no rule": {"learning": False},
    "no network": {"doubt": never},
    "neither": {"doubt": never, "learning": False},
}
TRADE = {
    "filter": {},
    **{f"doubt x {factor}": {"kind": slower(factor, 0.0)} for factor in (2, 4, 8, 16)},
    **{f"held {held_s} s": {"kind": slower(1.0, held_s)} for held_s in (0.3, 0.6, 1.0)},
}


def world_of(name: str, bench: int, seed: int) -> World:
    """Every other bench keeps one meter and one hook-up; the others change them with every trace."""
    if name == "family":
        return drawn(FAMILY_SEED + seed)
    return dataclasses.replace(NAMED[name], one_meter=bench % 2 == 1)


def row(world: str, name: str, variant: str, score: Score) -> str:
    """One line of the table."""
    false = score.interval("false")
    told = 1 - score.dangerous / score.false if score.false else math.nan
    return (
        f"{world:<12} {name:<11} {variant:<11} {score.detections:>7} "
        f"{score.share('false'):>5.2f} ({false[0]:.2f}-{false[1]:5.2f}) {told:>9.2f} "
        f"{score.share('missed'):>8.2f} {score.delay_s(0.5):>6.2f}/{score.delay_s(0.9):.2f} "
        f"{score.coverage:>7.3f} {1e6 * score.seconds / max(score.readings, 1):>5.1f}"
    )


def table(
    worlds: list[str], names: list[str], count: int, traces: int, seed: int, variants: dict[str, dict]
) -> None:
    """Generate each bench once and run every variant over it."""
    print(
        f"{count} benches of {traces} traces a world and class, seed {seed}; scored after {WARM_UP} contacts"
    )
    print(HEAD)
    by_contact = {start: Score() for start in BY_CONTACT}
    for world in worlds:
        for k, name in enumerate(names):
            scores = {variant: Score() for variant in variants}
            for bench in range(count):
                key = seed + 100 * bench + k
                made = make_bench(name, traces, key, world_of(world, bench, key))
                _run(name, made, variants, scores, by_contact)
            for variant, score in scores.items():
                print(row(world, name, variant, score), flush=True)
    print("coverage from contact on:", {start: round(s.coverage, 3) for start, s in by_contact.items()})


def _run(name: str, traces, variants, scores: dict[str, Score], by_contact: dict[int, Score]) -> None:
    """One bench, every variant."""
    settings = product.settings_for(name)
    runs = {variant: product.Bench(settings, **made) for variant, made in variants.items()}
    contacts = 0
    for trace in traces:
        readings = product.readings_of(trace)
        for variant, run in runs.items():
            started_s = time.process_time()
            found = run.detect(readings)
            passed_s = time.process_time() - started_s
            if contacts >= WARM_UP:
                score = scores[variant]
                score.seconds += passed_s
                score.readings += len(readings)
                add(score, trace, found)
            if variant == "filter":
                add(by_contact[max(start for start in BY_CONTACT if start <= contacts)], trace, found)
        contacts += len(trace.contacts)
