"""What the bench page costs and how quick it is: `python -m tests.benchmarks.page`.

Beside the same bench without a page, in one run: time from starting the daemon to its first answer, processor
time of an idle bench over half a minute, resident memory. Then, with three pages open: from the stamp on
an event, through the journal's commit, to the page, beside bare commits; and from SIGTERM to the end.
"""

from __future__ import annotations

import contextlib
import signal
import sqlite3
import statistics
import tempfile
import time
from pathlib import Path

import psutil

from tests.page_client import Ear, asked, ordered, until_served
from tests.whole_bench import bench_file, free_port, running, simulated

IDLE_S = 30.0
SAMPLES = 150
STARTS = 5


@contextlib.contextmanager
def bench(folder, meter_port, page_port=None):
    """The daemon as a process, with or without a page."""
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{meter_port}")
    if page_port is not None:
        with file.open("a", encoding="utf-8") as text:
            text.write(f"\n[page]\nport = {page_port}\n")
    with running(file, speed=1.0) as daemon:
        yield daemon


def cpu_and_memory(process, seconds):
    """Share of one processor over some seconds, and megabytes."""
    watched = psutil.Process(process.pid)
    before, began_s = watched.cpu_times(), time.monotonic()
    time.sleep(seconds)
    after, took_s = watched.cpu_times(), time.monotonic() - began_s
    used_s = after.user + after.system - before.user - before.system
    return 100.0 * used_s / took_s, watched.memory_info().rss / 1e6


def used_s(process):
    """Processor seconds since its start: what a busy machine does not change."""
    times = psutil.Process(process.pid).cpu_times()
    return times.user + times.system


def starts(folder, meter_port):
    """Seconds from starting the process to the page's last byte, by the clock and of the processor."""
    found = []
    for number in range(STARTS):
        place = folder / f"start-{number}"
        place.mkdir()
        port, began_s = free_port(), time.monotonic()
        with bench(place, meter_port, port) as daemon:
            until_served(port, "/now", daemon=daemon)
            assert asked(port, "/")[0] == 200
            found.append((time.monotonic() - began_s, used_s(daemon.process)))
            daemon.end()
    return found


def starts_without(folder, meter_port):
    """The same without a page, to the first line that a person sees."""
    found = []
    for number in range(STARTS):
        place = folder / f"bare-{number}"
        place.mkdir()
        began_s = time.monotonic()
        with bench(place, meter_port) as daemon:
            while not (place / "journal" / "journal.db").exists():
                time.sleep(0.005)
            found.append((time.monotonic() - began_s, used_s(daemon.process)))
            time.sleep(0.5)
            daemon.end()
    return found


def deliveries(port):
    """Seconds from the stamp on an event to its arrival, at three pages."""
    ears = [Ear(port) for _ in range(3)]
    for ear in ears:
        ear.until("state")
    late_s = []
    for number in range(SAMPLES):
        text, marks = f"note {number} (on the page)", [ear.mark() for ear in ears]
        ordered(port, "note", text=f"note {number}")
        for ear, mark in zip(ears, marks, strict=True):
            change, when = ear.until(
                "change", lambda data, t=text: data.get("notes", [{}])[0].get("text") == t, start=mark
            )
            late_s.append(when - change["notes"][0]["utc_s"])
        time.sleep(0.21)  # the desk takes five a second
    return ears, late_s


def bare_commits(folder):
    """Seconds that one commit of a small row takes on this disk, with nothing around it."""
    found = []
    with contextlib.closing(sqlite3.connect(folder / "bare.db", isolation_level=None)) as bare:
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE entry (seq INTEGER PRIMARY KEY, text TEXT)")
        for number in range(SAMPLES):
            began_s = time.monotonic()
            bare.execute("INSERT INTO entry (text) VALUES (?)", (f"note {number}" * 20,))
            found.append(time.monotonic() - began_s)
            time.sleep(0.05)
    return found


def told(name, values, unit="ms", size=1000.0):
    """One line: median, 99th percentile, largest."""
    ordered_values = sorted(values)
    p99 = ordered_values[min(len(values) - 1, int(0.99 * len(values)))]
    median, largest = statistics.median(values), max(values)
    line = f"median {size * median:.1f}, p99 {size * p99:.1f}, max {size * largest:.1f} {unit}"
    print(f"{name:<46} {line}  (n = {len(values)})")


def idle(name, daemon):
    """One line: what a bench with nothing to do takes."""
    cpu, memory = cpu_and_memory(daemon.process, IDLE_S)
    print(f"{name:<46} {cpu:.2f} % of one processor, {memory:.0f} MB")


def main():
    """Measure, print."""
    with tempfile.TemporaryDirectory() as name:
        folder, meter_port = Path(name), free_port()
        with simulated(meter_port, speed=1.0):
            for what, found in (
                ("start to the journal, no page", starts_without(folder, meter_port)),
                ("start to the page's last byte", starts(folder, meter_port)),
            ):
                told(what, [wall_s for wall_s, _ in found], "s", 1.0)
                told(f"{what}: processor", [busy_s for _, busy_s in found], "s", 1.0)
            with bench(folder, meter_port) as daemon:
                time.sleep(3.0)
                idle("idle bench, no page", daemon)
                daemon.end()
            with_page(folder / "with", meter_port)
            told("bare commit on the same disk", bare_commits(folder))


def with_page(folder, meter_port):
    """Everything that needs a page."""
    folder.mkdir()
    port = free_port()
    with bench(folder, meter_port, port) as daemon:
        until_served(port)
        time.sleep(3.0)
        idle("idle bench, page served, nobody looks", daemon)
        ears = [Ear(port)]
        ears[0].until("state")
        idle("idle bench, one page open", daemon)
        more, late_s = deliveries(port)
        told("event to page, three pages open", late_s)
        began_s = time.monotonic()
        code, _ = daemon.end(signal.SIGTERM)
        took_s = time.monotonic() - began_s
        print(f"{'SIGTERM to exit, four pages open':<46} {took_s:.3f} s, exit code {code}")
        for ear in [*ears, *more]:
            ear.close()


if __name__ == "__main__":
    main()
