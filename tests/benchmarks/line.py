"""A line's collector beside the bare limits: verdicts a second, cost by benches and by rows, storage.

    python -m tests.benchmarks.line [VERDICTS] [ROWS]

Held constant: mosquitto and PostgreSQL (fsync on) on loopback, MQTT 5, QoS 1, 1000 messages under way, the
same payloads (about 1.1 kB) waiting in the broker before the clock starts. Bare receive: aiomqtt's own
iterator, acknowledged at once. Bare COPY: psycopg writes the same rows, in batches of 500, one transaction
each, into a table without indexes. Ours: the collector of `steadyohm collect`, from its first message to the
last one committed and acknowledged. By turns, three times each; medians and spread. Then: the time of one
verdict with 1 to 50 benches; batches of 500 into a table that already holds 10^4 to ROWS rows (default 10^6),
with the size of table and indexes, and the time of reports over it (line_rows says how it is filled). 10^7
rows take some 19 GB in the temporary folder (TMPDIR) and a quarter of an hour; VERDICTS 0 leaves out all but
the rows. Figures come as they are found; the data goes when the benchmark ends, also after Ctrl-C.
"""

from __future__ import annotations

import asyncio
import logging
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import aiomqtt
import psycopg
import structlog
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from acquire.clock import RealClock
from acquire.line.collecting import Collector
from acquire.line.collector_file import CollectorSettings
from acquire.line.hearing import listening
from acquire.line.incoming import read
from acquire.line.store import COLUMNS, _entry_row
from acquire.outlets.mqtt import Broker
from tests.benchmarks.line_rows import BATCH, by_rows, messages
from tests.brokers import MOSQUITTO, Mosquitto
from tests.postgres import BINARIES, new_database, server

TURNS = 3
BROKER = "set_tcp_nodelay true\nmax_inflight_messages 0\nmax_queued_messages 0\n"
GROUP = "$share/{}/steadyohm/v2/+/verdict"


async def wait_in_broker(port, sent, identifier, group):
    """Make a session, leave, and publish what shall wait for it."""
    words = Properties(PacketTypes.CONNECT)
    words.SessionExpiryInterval = 3600
    words.ReceiveMaximum = 1000
    client = aiomqtt.Client("127.0.0.1", port, identifier=identifier, protocol=aiomqtt.ProtocolVersion.V5,
                            clean_start=False, properties=words)  # fmt: skip
    async with client:
        await client.subscribe(GROUP.format(group), qos=1)
    async with aiomqtt.Client("127.0.0.1", port, max_inflight_messages=500) as bench:
        for start in range(0, len(sent), 200):
            await asyncio.gather(
                *(bench.publish(topic, raw, qos=1) for topic, raw in sent[start : start + 200])
            )
    return words


async def bare_receive(port, sent, turn):
    """Rate of aiomqtt's own iterator."""
    words = await wait_in_broker(port, sent, f"bare{turn}", "bare")
    client = aiomqtt.Client("127.0.0.1", port, identifier=f"bare{turn}", protocol=aiomqtt.ProtocolVersion.V5,
                            clean_start=False, properties=words)  # fmt: skip
    async with client:
        begun_s, used_s = time.perf_counter(), time.process_time()
        heard = 0
        async for _ in client.messages:
            heard += 1
            if heard == len(sent):
                break
        cost_us = 1e6 * (time.process_time() - used_s) / heard
        return heard / (time.perf_counter() - begun_s), cost_us


async def bare_copy(address, rows):
    """Rate of COPY into a table without indexes."""
    async with await psycopg.AsyncConnection.connect(address) as connection:
        await connection.execute(
            "CREATE TABLE IF NOT EXISTS bare (bench text, journal text, seq bigint, utc timestamptz,"
            " kind text, serial text, batch text, sheet text, meter text, outcome text, payload jsonb)"
        )
        await connection.execute("TRUNCATE bare")
        await connection.commit()
        begun_s = time.perf_counter()
        for start in range(0, len(rows), BATCH):
            async with (
                connection.cursor() as cursor,
                cursor.copy(f"COPY bare ({COLUMNS}) FROM STDIN") as copy,
            ):
                for row in rows[start : start + BATCH]:
                    await copy.write_row(row)
            await connection.commit()
        return len(rows) / (time.perf_counter() - begun_s)


async def ours(port, address, sent, turn):
    """Rate from the first message to the last that is committed and acknowledged."""
    from acquire.line.collecting import identifier

    rules = CollectorSettings(name=f"turn-{turn}", group="ours", messages=BATCH)
    await wait_in_broker(port, sent, identifier(rules), "ours")
    collector = Collector(rules, Broker(host="127.0.0.1", port=port), address, RealClock())
    await collector.store.open()
    stop = asyncio.Event()
    begun_s, used_s = time.perf_counter(), time.process_time()
    task = asyncio.create_task(collector.run(stop))
    while collector.store.written + collector.store.copies < len(sent):  # noqa: ASYNC110
        await asyncio.sleep(0.002)
    rate = len(sent) / (time.perf_counter() - begun_s)
    cost_us = 1e6 * (time.process_time() - used_s) / len(sent)
    stop.set()
    await task
    assert collector.store.written == len(sent), (collector.store, len(sent))
    return rate, cost_us


async def forget(port, identifier):
    """End a session, so that it takes no share of the next turn."""
    async with listening(Broker(host="127.0.0.1", port=port), identifier, in_flight=1, session_s=0):
        pass


def told(name, rates, unit="/s"):
    """One line: median and spread."""
    print(
        f"{name:<42} {statistics.median(rates):9.0f} {unit}   ({min(rates):.0f} to {max(rates):.0f})",
        flush=True,
    )


def rates(postgres, port, count):
    """Ours beside the two bare limits."""
    from acquire.line.collecting import identifier

    sent = list(messages(count, 10))
    rows = [_entry_row(read(*each)) for each in sent]
    received, copied, both = [], [], []
    for turn in range(TURNS):
        received.append(asyncio.run(bare_receive(port, sent, turn)))
        asyncio.run(forget(port, f"bare{turn}"))
        copied.append(asyncio.run(bare_copy(postgres.address(), rows)))
        both.append(asyncio.run(ours(port, new_database(postgres), sent, turn)))
        asyncio.run(forget(port, identifier(CollectorSettings(name=f"turn-{turn}", group="ours"))))
    print(f"{TURNS} turns of {count} verdicts, {len(sent[0][1])} bytes each")
    told("bare aiomqtt, QoS 1, received", [rate for rate, _ in received])
    told("bare psycopg COPY, no index", copied)
    told("collector, received, committed, acknowledged", [rate for rate, _ in both])
    told("processor time, bare aiomqtt", [cost for _, cost in received], "us each")
    told("processor time, collector", [cost for _, cost in both], "us each")
    ratios = sorted(o / min(r, c) for (o, _), (r, _), c in zip(both, received, copied, strict=True))
    spread = f"({ratios[0]:.2f} to {ratios[-1]:.2f})"
    print(f"ratio to the slower of the two: {statistics.median(ratios):.2f}   {spread}")


def by_benches(postgres, port, count):
    """Cost of one verdict with 1 to 50 benches."""
    from acquire.line.collecting import identifier

    costs = {1: [], 10: [], 50: []}
    for turn in range(TURNS):
        for benches, found in costs.items():
            name = f"{benches}-{turn}"
            sent = list(messages(count, benches))
            found.append(asyncio.run(ours(port, new_database(postgres), sent, name)))
            asyncio.run(forget(port, identifier(CollectorSettings(name=f"turn-{name}", group="ours"))))
    for benches, found in costs.items():
        told(f"{benches} benches", [1e6 / rate for rate, _ in found], "us a verdict")
        told(f"{benches} benches, processor time", [cost for _, cost in found], "us a verdict")


def main():
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(40))
    logging.getLogger("mqtt").setLevel(logging.ERROR)
    if MOSQUITTO is None or BINARIES is None:
        sys.exit("This benchmark needs mosquitto and PostgreSQL (Debian: apt install mosquitto postgresql).")
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    most = int(float(sys.argv[2])) if len(sys.argv) > 2 else 1_000_000
    with (
        suppress(KeyboardInterrupt),
        tempfile.TemporaryDirectory() as name,
        server("shared_buffers = 256MB\nmax_wal_size = 4GB\n") as postgres,
        Mosquitto(Path(name) / "broker", BROKER) as broker,
    ):
        if count:
            rates(postgres, broker.port, count)
            by_benches(postgres, broker.port, count // 2)
        by_rows(postgres, most)


if __name__ == "__main__":
    main()
