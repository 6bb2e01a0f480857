"""What the drivers cost and what a bad line gets past them.

    python -m tests.benchmarks.drivers [damage] [rate] [many] [idle] [--bytes 10000000] [--seconds 5]

damage: phantom readings per million frames for each frame protocol, with and without the agreement rule, at
0.2 % and 5 % of bytes hit; an exception or a growing buffer ends it with exit code 1.
rate: readings per second and CPU per reading of each driver beside a bare loop on the same peer, in the same
run, for peers that answer at once and for such that convert as fast meters do (drivers_rate).
many: 64 meters at 50 readings a second in one process; delay from sending to the reading in hand.
idle: CPU share of one meter at its usual pace.

Peers are processes of their own; a pty ignores baud rates, so this is software overhead only.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import time

from drivers.meter import Meter, Setup
from drivers.reading import Quantity
from drivers.registry import open_meter
from tests.benchmarks.drivers_damage import LINES, count_phantoms
from tests.benchmarks.drivers_rate import STREAMS, clock, cpu_s, driven, peer, rate

RULES = ("off", "near", "exact")


async def _watch(meter: Meter, seconds: float) -> list[float]:
    delays = []
    async with meter:
        until_s = time.monotonic() + seconds
        async for reading in meter.readings():
            now_s = time.monotonic()
            delays.append(now_s - reading.value_si)
            if now_s > until_s:
                return delays
    return delays


async def _watch_all(port: str, count: int, seconds: float) -> list[float]:
    meters = [
        open_meter("lines", meter_id=f"m{number}", address=f"tcp:127.0.0.1:{port}", clock=clock)
        for number in range(count)
    ]
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(_watch(meter, seconds)) for meter in meters]
    return [delay for task in tasks for delay in task.result()]


def many(seconds: float, count: int = 64, rate_hz: float = 50.0) -> None:
    """Many meters in one process."""
    with peer("lines", str(rate_hz)) as port:
        used = cpu_s()
        delays = sorted(asyncio.run(_watch_all(port, count, seconds)))
        used = cpu_s() - used
    quantile = {
        share: 1e3 * delays[min(int(share * len(delays)), len(delays) - 1)] for share in (0.5, 0.99, 1.0)
    }
    print(
        f"\nmany: {count} meters at {rate_hz:g} readings/s for {seconds:g} s: {len(delays) / seconds:.0f}/s"
    )
    print(f"  delay p50 {quantile[0.5]:.2f} ms, p99 {quantile[0.99]:.2f} ms, longest {quantile[1.0]:.2f} ms")
    print(f"  CPU {100 * used / seconds:.1f} % of one core, {1e6 * used / len(delays):.0f} us per reading")


def idle(seconds: float) -> None:
    """One meter at its usual pace."""
    print(f"\nidle: {seconds:g} s each")
    with peer("pty", STREAMS["status14"], "3") as path:
        meter = open_meter("status14", meter_id="b", address=f"serial:{path}", clock=clock)
        pace = asyncio.run(driven(meter, seconds))
    print(f"  hand meter, 3 frames/s:       {100 * pace.cpu / pace.seconds:.2f} % of one core")
    with peer("scpi", "0.2") as port:
        meter = open_meter("scpi", meter_id="b", address=f"tcp:127.0.0.1:{port}", clock=clock)
        pace = asyncio.run(driven(meter, seconds, Setup(Quantity.RESISTANCE, 100.0)))
    print(f"  SCPI, 10 power line cycles:   {100 * pace.cpu / pace.seconds:.2f} % of one core")


def damage(total_bytes: int) -> bool:
    """Phantoms of each protocol."""
    sound = True
    print(f"\ndamage: {total_bytes:,} bytes of damaged stream per protocol and share, seed 6")
    print("  phantoms per million frames; in brackets those more than 2 % off")
    heads = "".join(f"{'agreement ' + rule:>24}" for rule in RULES)
    print(f"  {'protocol':16}{'bytes hit':>10}{heads}{'readings kept':>16}{'longest rest':>14}")
    for line in LINES:
        for share in (0.002, 0.05):
            tallies = count_phantoms(line, total_bytes, share, RULES, seed=6)
            cells = "".join(
                f"{f'{tally.per_million:.1f} ({tally.far_per_million:.1f})':>24}"
                for tally in tallies.values()
            )
            near = tallies["near"]
            kept = f"{100 * near.readings / near.frames_sent:.1f} %"
            sound &= near.longest_rest_bytes < 4096
            print(
                f"  {line.name:16}{100 * share:>8.1f} %{cells}{kept:>16}{near.longest_rest_bytes:>12} B",
                flush=True,
            )
    return sound


def main() -> int:
    """Run the parts that are asked for, or all."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("parts", nargs="*", help="damage, rate, many, idle; all without any")
    parser.add_argument("--bytes", type=int, default=10_000_000)
    parser.add_argument("--seconds", type=float, default=5.0)
    given = parser.parse_args()
    parts = given.parts or ["damage", "rate", "many", "idle"]
    sound = damage(given.bytes) if "damage" in parts else True
    if "rate" in parts:
        rate(given.seconds)
    if "many" in parts:
        many(2 * given.seconds)
    if "idle" in parts:
        idle(2 * given.seconds)
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
