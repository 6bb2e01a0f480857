"""Verdicts a second that a broker has acknowledged, beside bare aiomqtt in the same run.

    python -m tests.benchmarks.mqtt [VERDICTS]

Held constant: mosquitto on loopback, MQTT 5, QoS 1, each publish acknowledged before the next, the same
payloads (about 1.1 kB). Bare: aiomqtt publishes ready-made bytes. Ours: the outlet catches up from the
journal, that is it also reads and spells each entry, and moves the journal's cursor durably. The second line
of ours has the journal in memory, which leaves the disk out. By turns, five times each; medians and spread.
"""

import asyncio
import statistics
import sys
import tempfile
import time
from pathlib import Path

import aiomqtt
import structlog

from acquire.clock import RealClock
from acquire.journal.store import Journal
from acquire.outlets.mqtt import Broker
from acquire.outlets.mqtt_outlet import MqttOutlet
from acquire.outlets.outlet import Health, drain
from acquire.outlets.payload import as_json, payload_of
from tests.brokers import MOSQUITTO, Mosquitto
from tests.known_records import verdict
from tests.memory_disk import SHARED_MEMORY

TURNS = 5


async def bare(port, payloads):
    """Rate of awaited publishes."""
    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5) as client:
        begun_s = time.perf_counter()
        for payload in payloads:
            await client.publish("steadyohm/v2/b/verdict", payload, qos=1)
        return len(payloads) / (time.perf_counter() - begun_s)


async def ours(port, folder, count):
    """Rate of catching up with a journal that holds so many verdicts."""
    journal = Journal.open(folder, bench="b", clock=RealClock())
    for start in range(0, count, 500):
        await journal.append([(verdict(n), None) for n in range(start, min(start + 500, count))])
    outlet = MqttOutlet(
        Broker(host="127.0.0.1", port=port), bench="b", clock=RealClock(), software="benchmark"
    )
    stop, health = asyncio.Event(), Health("mqtt")
    begun_s = time.perf_counter()
    stop.set()
    await drain(journal, outlet, "mqtt", stop, health=health)
    rate = count / (time.perf_counter() - begun_s)
    assert health.sent == count == await journal.cursor("mqtt")
    await journal.close()
    return rate


async def payloads_of(folder, count):
    """The bytes the outlet would send."""
    journal = Journal.open(folder, bench="b", clock=RealClock())
    entries = await journal.append([(verdict(n), None) for n in range(count)])
    await journal.close()
    return [as_json(payload_of(entry)) for entry in entries]


def told(name, rates):
    """One line: median rate and spread."""
    print(f"{name:<34} {statistics.median(rates):7.0f} /s   ({min(rates):.0f} to {max(rates):.0f})")


def main():
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(40))
    if MOSQUITTO is None:
        sys.exit("This benchmark needs mosquitto (Debian: apt install mosquitto).")
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    plain, disk, memory = [], [], []
    with (
        tempfile.TemporaryDirectory() as name,
        tempfile.TemporaryDirectory(dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None) as quick,
        Mosquitto(Path(name) / "broker") as broker,
    ):
        payloads = asyncio.run(payloads_of(Path(name) / "payloads", count))
        for turn in range(TURNS):
            plain.append(asyncio.run(bare(broker.port, payloads)))
            disk.append(asyncio.run(ours(broker.port, Path(name) / f"j{turn}", count)))
            memory.append(asyncio.run(ours(broker.port, Path(quick) / f"j{turn}", count)))
    print(f"acknowledged verdicts, {TURNS} turns of {count}, {len(payloads[0])} bytes each")
    told("bare aiomqtt", plain)
    told("outlet, journal on the disk", disk)
    told("outlet, journal in memory", memory)
    for label, rates in (("on the disk", disk), ("in memory", memory)):
        ratios = sorted(ours / theirs for ours, theirs in zip(rates, plain, strict=True))
        print(
            f"ratio {label}: {statistics.median(ratios):.2f}   ({ratios[0]:.2f} to {ratios[-1]:.2f} by turn)"
        )


if __name__ == "__main__":
    main()
