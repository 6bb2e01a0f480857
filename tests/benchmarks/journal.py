"""Durable verdicts a second, and how long one takes, beside bare SQLite commits in the same run.

    python -m tests.benchmarks.journal [SECONDS]

Held constant: the same verdict with its evidence (about 1.7 kB of JSON), one commit a verdict, WAL with
synchronous=FULL, one connection, the same disk. Bare: `sqlite3` in one thread, an INSERT of the ready-made
text into a table without an index, BEGIN and COMMIT. Ours: `await journal.append(...)`, which also spells the
record, keeps three indexes and changes threads twice. By short turns, so that what else the machine does
meets both; given are medians and the spread over the turns.
"""

import asyncio
import json
import sqlite3
import statistics
import sys
import tempfile
import time
from pathlib import Path

from acquire.clock import RealClock
from acquire.journal.plain import to_plain
from acquire.journal.store import Journal
from tests.known_records import EVIDENCE, VERDICT

TURNS = 15


def bare(path, seconds):
    """Times of commits of the same bytes, seconds each."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute(
        "CREATE TABLE IF NOT EXISTS entry (seq INTEGER PRIMARY KEY, payload TEXT, evidence TEXT)"
    )
    texts = (json.dumps(to_plain(VERDICT)), json.dumps(to_plain(EVIDENCE)))
    times, end = [], time.perf_counter() + seconds
    while (begun := time.perf_counter()) < end:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("INSERT INTO entry (payload, evidence) VALUES (?, ?)", texts)
        connection.execute("COMMIT")
        times.append(time.perf_counter() - begun)
    connection.close()
    return times


async def ours(folder, seconds, callers=1):
    """Times of appends; several callers at once share commits, as outlets' cursors and verdicts do."""
    journal = Journal.open(folder, bench="b", clock=RealClock())
    times, end = [], time.perf_counter() + seconds

    async def call():
        while (begun := time.perf_counter()) < end:
            await journal.append([(VERDICT, EVIDENCE)])
            times.append(time.perf_counter() - begun)

    await asyncio.gather(*(call() for _ in range(callers)))
    await journal.close()
    return times


def told(name, turns, seconds):
    """One line: rate, median and 99th percentile of one commit, spread of the rate over the turns."""
    rates = [len(times) / seconds for times in turns]
    every = sorted(time_s for times in turns for time_s in times)
    p99_ms = 1e3 * every[int(0.99 * len(every))]
    print(
        f"{name:<28} {statistics.median(rates):8.0f} /s   ({min(rates):.0f} to {max(rates):.0f})"
        f"   median {1e3 * statistics.median(every):.3f} ms   p99 {p99_ms:.3f} ms"
        f"   longest {1e3 * every[-1]:.1f} ms"
    )
    return rates, p99_ms


def main():
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 0.5
    plain, one, eight = [], [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for turn in range(TURNS):
            plain.append(bare(folder / f"bare-{turn}.db", seconds))
            one.append(asyncio.run(ours(folder / f"one-{turn}", seconds)))
            eight.append(asyncio.run(ours(folder / f"eight-{turn}", seconds, 8)))
    print(f"durable verdicts, {TURNS} turns of {seconds:g} s each")
    bare_rates, bare_p99 = told("bare SQLite", plain, seconds)
    our_rates, our_p99 = told("journal, one at a time", one, seconds)
    more_rates, _ = told("journal, eight at a time", eight, seconds)
    for name, rates in (("one at a time", our_rates), ("eight at a time", more_rates)):
        ratios = sorted(ours / theirs for ours, theirs in zip(rates, bare_rates, strict=True))
        print(
            f"ratio {name}: {statistics.median(ratios):.2f}   ({ratios[0]:.2f} to {ratios[-1]:.2f} by turn)"
        )
    print(f"p99 one at a time / bare: {our_p99 / bare_p99:.2f}")


if __name__ == "__main__":
    main()
