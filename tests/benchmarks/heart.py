"""What the heart costs: microseconds a reading, milliseconds from the deciding reading to the commit.

    python -m tests.benchmarks.heart [--readings 40000] [--verdicts 200]

Each figure stands beside a baseline measured in the same run: an empty loop over the same readings, one
synced write of a plain file in the same folder, and an interpreter that does nothing. Held constant: the
Plover 80 sheet with six steps, a six-and-a-half-digit meter at 50 readings a second, a contact of 3 s then
0.6 s of overload, and for the journal a real file in build/ (not in memory: name a folder on the
disk you mean with --folder).
"""

from __future__ import annotations

import argparse
import asyncio
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from acquire.bench.daemon import recorded
from acquire.clock import RealClock
from acquire.conditions import Conditions, Temperature
from acquire.journal.store import Journal
from acquire.pipeline import Pipeline
from acquire.records import Circumstances, Judged, Purpose, StartUnit, UnitResult
from acquire.settle import SettleSettings
from acquire.sheets import load_sheet
from drivers.models import load_model
from drivers.reading import Kind, Origin, Quantity, Reading
from tests.pure_bench import CONFIGS, GOOD

RATE_S = 0.02
HOLD, AIR = 150, 30


class Bench:
    """A heart with ideal hands; gives readings without counting the time it takes to make them."""

    def __init__(self) -> None:
        sheet = load_sheet(CONFIGS / "sheets" / "plover-80.toml")
        model = load_model(CONFIGS / "meters" / "bench-6-digit.toml")
        self.now_s, self.number, self.unit = 0.0, 0, 0
        self.heart = Pipeline(
            Circumstances("bench-1", Purpose.FINAL, sheet, "meter", model.name, "m", "b", "benchmark"),
            model,
            Conditions(
                temperature=Temperature(20.0, 0.2, 0.0), temperature_max_age_s=1e12, lead_wanted=False
            ),
            settle=SettleSettings(noise_counts=6.0),
            four_wire_below_ohm=10.0,
        )

    def reading(self, ohm: float | None, quantity: Quantity) -> Reading:
        """The next conversion, with up to two millionths of noise."""
        self.now_s += RATE_S
        self.number += 1
        full_scale_ohm = 100.0 if (self.heart.wanted.expected_ohm or 1e3) <= 120.0 else 1000.0
        noise_ohm = 1e-6 * full_scale_ohm * ((self.number * 7919) % 5 - 2)
        return Reading(
            meter_id="meter",
            quantity=quantity,
            kind=Kind.OVERLOAD if ohm is None else Kind.VALUE,
            value_si=None if ohm is None else ohm + noise_ohm,
            monotonic_s=self.now_s,
            utc_s=self.now_s,
            conversion=self.number,
            range_full_scale_si=full_scale_ohm,
            resolution_si=1e-6 * full_scale_ohm,
            range_origin=Origin.READ_BACK,
            raw=b"+2.02570000E+02",
        )

    def touch(self) -> list[Reading]:
        """The readings of the next touch: the pair that is asked for, then the probes in the air."""
        if self.heart.unit is None:
            self.unit += 1
            self.heart.command(StartUnit(f"P80-{self.unit:05d}"), self.now_s, self.now_s)
        unit = self.heart.unit
        step = unit.state.current if unit else None
        ohm = GOOD[tuple(step.pair)] if step else None  # type: ignore[index]  # a pair of the sheet
        quantity = self.heart.wanted.quantity
        return [self.reading(ohm if n < HOLD else None, quantity) for n in range(HOLD + AIR)]


def per_reading(count: int) -> None:
    """Microseconds a reading through the heart, by kind of reading; an empty loop beside it."""
    bench, costs, empty, verdicts = Bench(), [], [], 0
    while bench.number < count:
        readings = bench.touch()
        start_s = time.perf_counter()
        for _reading in readings:
            pass
        empty.append((time.perf_counter() - start_s) / len(readings))
        for reading in readings:
            start_s = time.perf_counter()
            events = bench.heart.feed(reading)
            costs.append(time.perf_counter() - start_s)
            verdicts += sum(isinstance(event, Judged) for event in events)
    costs.sort()
    mean, p99 = statistics.fmean(costs), costs[int(0.99 * len(costs))]
    print(f"heart: {len(costs)} readings, {verdicts} verdicts")
    median = costs[len(costs) // 2]
    print(f"  mean {1e6 * mean:.1f} us   median {1e6 * median:.1f} us   p99 {1e6 * p99:.1f} us   "
          f"longest {1e3 * costs[-1]:.2f} ms")  # fmt: skip
    print(f"  empty loop {1e6 * statistics.fmean(empty):.3f} us   one reading takes "
          f"{100 * mean / RATE_S:.2f} % of the {RATE_S * 1e3:.0f} ms between two")  # fmt: skip


async def latency(count: int, folder: Path) -> None:
    """Milliseconds from handing over the deciding reading to the commit of its verdict."""
    journal = Journal.open(folder, bench="bench-1", clock=RealClock())
    bench, heart_s, whole_s, units = Bench(), [], [], 0
    try:
        while len(whole_s) < count:
            for reading in bench.touch():
                start_s = time.perf_counter()
                events = bench.heart.feed(reading)
                decided_s = time.perf_counter()
                records = recorded(events)
                if records:
                    await journal.append(records)
                if any(isinstance(event, Judged) for event in events):
                    heart_s.append(decided_s - start_s)
                    whole_s.append(time.perf_counter() - start_s)
                units += sum(isinstance(event, UnitResult) for event in events)
    finally:
        await journal.close()
    print(f"verdict: {len(whole_s)} of {units} units, journal in {folder}")
    show("deciding reading to commit", whole_s)
    show("of which the heart", heart_s)
    show("baseline: one synced 4 kB write", [synced_write(folder) for _ in range(count)])


def synced_write(folder: Path) -> float:
    """Seconds for the least that a durable record can cost here."""
    number = os.open(folder / "baseline", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    try:
        start_s = time.perf_counter()
        os.write(number, b"x" * 4096)
        os.fdatasync(number)
        return time.perf_counter() - start_s
    finally:
        os.close(number)


def show(name: str, seconds: list[float]) -> None:
    """One line of percentiles, milliseconds."""
    ordered = sorted(seconds)
    p50, p99 = ordered[len(ordered) // 2], ordered[int(0.99 * len(ordered))]
    print(
        f"  {name:<32} p50 {1e3 * p50:7.3f} ms  p99 {1e3 * p99:7.3f} ms  longest {1e3 * ordered[-1]:7.3f} ms"
    )


def start_up(rounds: int = 7) -> None:
    """Seconds until `steadyohm --help` has answered, beside an interpreter that does nothing."""
    for name, words in (
        ("steadyohm --help", ["-m", "acquire", "--help"]),
        ("baseline: python -c pass", ["-c", "pass"]),
    ):
        taken = []
        for _ in range(rounds):
            start_s = time.perf_counter()
            subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
            taken.append(time.perf_counter() - start_s)
        print(f"  {name:<26} median {1e3 * statistics.median(taken):6.0f} ms   {rounds} rounds, "
              f"{1e3 * min(taken):.0f} to {1e3 * max(taken):.0f} ms")  # fmt: skip


def main() -> None:
    """Measure all three."""
    parser = argparse.ArgumentParser(description="What the heart costs.")
    parser.add_argument("--readings", type=int, default=40_000)
    parser.add_argument("--verdicts", type=int, default=200)
    parser.add_argument("--folder", type=Path, default=Path("build"), help="on the disk that is meant")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    per_reading(given.readings)
    with tempfile.TemporaryDirectory(prefix="heart-", dir=given.folder) as folder:
        asyncio.run(latency(given.verdicts, Path(folder)))
    print("start-up:")
    start_up()


if __name__ == "__main__":
    main()
