"""Light benches for tests of a line: a real journal and a real MQTT outlet each, without instruments.

    python -m tests.light_benches FOLDER FIRST COUNT PORT SECONDS RATE

Each bench writes invented units at RATE verdicts a second for so long, then waits until the line has
confirmed everything (or somebody ends it). One process holds many benches. Not a test itself.
"""

from __future__ import annotations

import asyncio
import random
import sys
from dataclasses import replace
from pathlib import Path

import structlog

from acquire.clock import RealClock
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import CURSOR, LineOutlet
from acquire.outlets.outlet import BackOff, Health, drain
from acquire.records import Outcome
from system.ending import asked_to_end
from tests.known_records import CHECK, EVIDENCE, NOTICE, RESULT, STARTED, TYPED, VERDICT, ZERO

PATIENCE_S = 3.0
"""In place of a minute, so that a demonstration does not take half an hour."""


def unit(bench, number, now_s, dice):
    """Records of one invented unit."""
    serial, batch = f"{bench}-{number:05d}", f"lot {number // 50}"
    whole = {"bench": bench, "serial": serial, "batch": batch}
    out = [(replace(STARTED, **whole, utc_s=now_s), None)]
    outcome = Outcome.PASS
    for step, nominal_ohm in (("slow charge", 202.5669), ("fast charge", 46.17), ("trigger", 108.3)):
        value_ohm = dice.gauss(nominal_ohm, 0.01 * nominal_ohm)
        outcome = Outcome.PASS if abs(value_ohm / nominal_ohm - 1) < 0.025 else Outcome.FAIL
        made = replace(
            VERDICT, **whole, step=step, reference_ohm=value_ohm, nominal_ohm=nominal_ohm, utc_s=now_s,
            outcome=outcome, lower_ohm=0.94 * nominal_ohm, upper_ohm=1.06 * nominal_ohm, meter_id="meter",
        )  # fmt: skip
        out.append((made, EVIDENCE))
    out.append((replace(RESULT, **whole, outcome=outcome, utc_s=now_s, started_utc_s=now_s), None))
    if number % 10 == 0:
        out += [
            (replace(ZERO, bench=bench, meter_id="meter", utc_s=now_s), None),
            (replace(CHECK, bench=bench, utc_s=now_s), None),
            (replace(TYPED, **whole, utc_s=now_s), None),
            (replace(NOTICE, serial=serial, utc_s=now_s), None),
        ]
    return out


async def work(folder, bench, port, seconds, rate, stop):
    """One bench, until all it wrote is confirmed."""
    clock = RealClock()
    journal = await asyncio.to_thread(lambda: Journal.open(folder / bench, bench=bench, clock=clock))
    outlet = LineOutlet(
        Broker(host="127.0.0.1", port=port), with_evidence=True, patience_s=PATIENCE_S,
        bench=bench, clock=clock, software="steadyohm light",
        files=lambda: {"sheet": "Plover 80", "sheet_hash": "5e" * 32},
    )  # fmt: skip
    health, drained = Health("mqtt"), asyncio.Event()
    out = asyncio.create_task(
        drain(journal, outlet, "mqtt", drained, health=health, back_off=BackOff(0.1, 1.0))
    )
    dice, number, until_s = random.Random(bench), journal.last_seq, clock.monotonic_s() + seconds
    while not stop.is_set() and clock.monotonic_s() < until_s:
        number += 1
        await journal.append(unit(bench, number, clock.utc_s(), dice))
        await asyncio.sleep(dice.uniform(0.5, 1.5) * 3 / rate)
    while not stop.is_set() and await journal.cursor(CURSOR) < journal.last_seq:  # noqa: ASYNC110
        await asyncio.sleep(0.2)
    drained.set()
    await asyncio.wait_for(out, 10.0)
    await journal.close()
    return outlet.again


async def main():
    """All benches of this process."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(40))
    folder, first, count, port, seconds, rate = Path(sys.argv[1]), *map(float, sys.argv[2:7])
    stop = asyncio.Event()
    names = [f"bench-{number:02d}" for number in range(int(first), int(first + count))]
    with asked_to_end(stop.set):
        again = await asyncio.gather(*(work(folder, name, int(port), seconds, rate, stop) for name in names))
    print(sum(again), flush=True)


if __name__ == "__main__":
    asyncio.run(main())
