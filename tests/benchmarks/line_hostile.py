"""A line of 50 benches, one of them hostile: do the other 49 lose anything, and how much time does it cost?

    python -m tests.benchmarks.line_hostile [VERDICTS] [TURNS]

Held constant: as in tests.benchmarks.line; all messages wait in the broker before the clock starts. By turns
a line of 50 honest benches and the same line with the last bench hostile, which sends as many messages as
before: no JSON, wrong types, numbers beyond bigint and double, ids of another bench's journal before that
bench's own, a future schema, its own ids again with other contents, names without end, and nests a thousand
deep. Told: messages a second, from the first to the last that is committed or rejected, and the collector's
processor time for each. The run fails where an honest verdict is missing or differs from what was sent.
"""

from __future__ import annotations

import asyncio
import json
import logging
import statistics
import sys
import tempfile
import time
from pathlib import Path

import psycopg
import structlog

from acquire.clock import RealClock
from acquire.line.collecting import Collector, identifier
from acquire.line.collector_file import CollectorSettings
from acquire.outlets.mqtt import Broker
from tests.benchmarks.line import BROKER, forget, wait_in_broker
from tests.benchmarks.line_rows import BATCH, birth_of, messages
from tests.brokers import MOSQUITTO, Mosquitto
from tests.postgres import BINARIES, new_database, server

BENCHES = 50
HOSTILE = f"bench-{BENCHES - 1}"
VICTIM = birth_of("bench-0")


def spoilt(raw, number):
    """What the hostile bench makes of a message that it should send."""
    plain = json.loads(raw)
    seq, birth = plain["seq"], plain["id"].partition("-")[0]
    stolen = {"id": f"{VICTIM}-{seq}", "seq": seq}
    ways = (
        lambda: raw[:-7],
        lambda: as_bytes(plain | {"serial": 7, "outcome": ["pass"], "utc_s": "noon"}),
        lambda: as_bytes(plain | {"id": f"{birth}-{2**62 + seq}", "seq": 2**62 + seq, "after": 2**62}),
        lambda: raw.replace(b'"settle_s":', b'"settle_s":1e400,"was":', 1),
        lambda: as_bytes(plain | stolen | {"bench": "bench-0"}),
        lambda: as_bytes(plain | stolen),  # in its own name
        lambda: as_bytes(plain | {"schema": 99}),
        lambda: as_bytes(plain | {"id": f"{birth}-1", "seq": 1, "after": 0, "serial": f"OTHER-{number}"}),
        lambda: as_bytes(plain | {"serial": "x" * 100_000, "batch": "\x00"}),
        lambda: b'{"a":' * 1000 + b"1" + b"}" * 1000,
    )
    return ways[number % len(ways)]()


def as_bytes(plain):
    """A payload as a bench would spell it."""
    return json.dumps(plain, separators=(",", ":")).encode()


def with_hostile(sent):
    """The line's messages, those of the last bench spoilt; in another's name before that other's own."""
    out = []
    for number, (topic, raw) in enumerate(sent):
        if f"/{HOSTILE}/" in topic:
            raw = spoilt(raw, number // BENCHES)  # noqa: PLW2901 - the same message, spoilt
        out.append((topic, raw))
    stolen = f'"id":"{VICTIM}-'.encode()
    return sorted(out, key=lambda each: f"/{HOSTILE}/" not in each[0] or stolen not in each[1])


def honest(sent):
    """By id, all that the other benches send."""
    plains = (json.loads(raw) for topic, raw in sent if f"/{HOSTILE}/" not in topic)
    return {plain["id"]: plain for plain in plains}


async def turn(port, address, sent, name, wanted):
    """Rate, processor time a message and how many were rejected; raises where one is missing or differs."""
    rules = CollectorSettings(name=name, group="hostile", messages=BATCH)
    await wait_in_broker(port, sent, identifier(rules), "hostile")
    collector = Collector(rules, Broker(host="127.0.0.1", port=port), address, RealClock())
    await collector.store.open()
    stop, begun_s, used_s = asyncio.Event(), time.perf_counter(), time.process_time()
    task = asyncio.create_task(collector.run(stop))
    handled = lambda: collector.store.written + collector.store.copies + collector.store.rejected  # noqa: E731
    while handled() < len(sent):
        await asyncio.sleep(0.002)
        if task.done():
            task.result()
    rate = len(sent) / (time.perf_counter() - begun_s)
    cost_us = 1e6 * (time.process_time() - used_s) / len(sent)
    stop.set()
    await task
    with psycopg.connect(address) as connection:
        rows = connection.execute(
            "SELECT payload FROM steadyohm.entry WHERE bench <> %s", (HOSTILE,)
        ).fetchall()
        rejected = connection.execute("SELECT count(*) FROM steadyohm.rejected").fetchone()[0]
    kept = {plain["id"]: plain for (plain,) in rows}
    lost = [each for each in wanted if each not in kept]
    other = [each for each, plain in wanted.items() if each in kept and kept[each] != plain]
    assert not lost, f"{len(lost)} honest verdicts are lost: {lost[:3]}"
    assert not other, f"{len(other)} honest verdicts differ: {other[:3]}"
    return rate, cost_us, rejected


def campaign(count, turns):
    """What `turn` gives of honest lines and of lines with a hostile bench, by turns."""
    sent = list(messages(count, BENCHES))
    lines = {"honest": sent, "one hostile": with_hostile(sent)}
    found = {kind: [] for kind in lines}
    wanted = honest(sent)
    with (
        tempfile.TemporaryDirectory() as folder,
        server("shared_buffers = 256MB\n") as postgres,
        Mosquitto(Path(folder) / "broker", BROKER) as broker,
    ):
        for number in range(turns):
            for kind, line in lines.items():
                name = f"{kind.replace(' ', '-')}-{number}"
                found[kind].append(asyncio.run(turn(broker.port, new_database(postgres), line, name, wanted)))
                asyncio.run(forget(broker.port, identifier(CollectorSettings(name=name, group="hostile"))))
    return found


def main():
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(50))
    logging.getLogger("mqtt").setLevel(logging.ERROR)
    if MOSQUITTO is None or BINARIES is None:
        sys.exit("This benchmark needs mosquitto and PostgreSQL (Debian: apt install mosquitto postgresql).")
    count, turns = (int(word) for word in (*sys.argv[1:3], *("10000", "5")[len(sys.argv) - 1 :]))
    found = campaign(count, turns)
    for place, unit in enumerate(("/s", "us each")):
        for kind, told in found.items():
            figures = [each[place] for each in told]
            spread = f"({min(figures):.0f} to {max(figures):.0f})"
            print(f"{kind:<12} {statistics.median(figures):7.0f} {unit}   {spread}")
        ratios = [hostile[place] / fair[place] for fair, hostile in zip(*found.values(), strict=True)]
        spread = f"({min(ratios):.2f} to {max(ratios):.2f})"
        print(f"ratio, turn by turn: {statistics.median(ratios):.2f}   {spread}")
    print(f"{count} messages a turn, {found['one hostile'][-1][2]} rejected; no honest one lost or changed.")


if __name__ == "__main__":
    main()
