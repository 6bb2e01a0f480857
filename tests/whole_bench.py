"""A whole bench for scene tests: the simulation as a process, the real daemon here or as a command.

Not a test itself. Everything goes over real sockets, ptys, pipes and files.
"""

from __future__ import annotations

import contextlib
import csv
import json
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from acquire.bench.assembly import assemble
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.journal.history import JournalReader, Query
from acquire.outlets.payload import header
from acquire.simulated.demo import at_work, read_truth, stand_in
from tests.waiting import PATIENCE_S

CONFIGS = Path(__file__).resolve().parents[1] / "configs"
QUIET = {**os.environ, "TERM": "dumb", "COLUMNS": "120"}


GIVEN = set()


def free_port():
    """A loopback port that nobody listens on, another one each time: the system may offer one twice."""
    while True:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        if port not in GIVEN:
            GIVEN.add(port)
            return port


def bench_file(folder, *, meter, thermometer="", sheet="plover-80.toml", changes=()):
    """Write a bench file; `changes` are (old, new) texts. Without a thermometer 22.5 °C are typed in."""
    air = (
        f'source = "meter"\ndriver = "lines"\nlink = "{thermometer}"\nuncertainty = "0.5 K"'
        if thermometer
        else 'source = "typed"\nvalue = "22.5 °C"\nuncertainty = "1.5 K"'
    )
    text = f"""[bench]
name = "bench-1"
purpose = "final"
sheet = "{CONFIGS / "sheets" / sheet}"

[meter]
driver = "scpi"
link = "{meter}"
model = "{CONFIGS / "meters" / "bench-6-digit.toml"}"
four_wire_below = "10 ohm"
integration_plc = 1.0

[temperature]
{air}

[journal]
folder = "journal"

[csv]
folder = "csv"
"""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    file = folder / "bench.toml"
    file.write_text(text, encoding="utf-8")
    return file


# ------------------------------------------------------------------ the daemon in this process


@dataclass
class Work:
    """What came of a day at a simulated bench."""

    events: list = field(default_factory=list)
    truth: dict = field(default_factory=dict)

    def of(self, kind):
        """All events of a kind, in order."""
        return [event for event in self.events if isinstance(event, kind)]


async def day(folder, *words, speed=10.0, seed=7, units=None, scene="plover-80", sheet="plover-80.toml"):
    """Let the virtual operator work through a scene with the real daemon."""
    truth = folder / "truth.jsonl"
    arguments = ["--scene", scene, "--seed", str(seed), "--speed", str(speed), "--truth", str(truth), *words]
    if units:
        arguments += ["--units", str(units)]
    work = Work()
    async with stand_in(arguments) as simulation:
        file = bench_file(folder, meter=simulation.meter, thermometer=simulation.thermometer, sheet=sheet)

        def show(event):
            work.events.append(event)
            simulation.show(event)

        daemon = await assemble(load_bench(file), clock=RealClock(speed), show=show)
        await at_work(daemon, simulation)
    work.truth = read_truth(truth)
    return work


# ------------------------------------------------------------------ processes


class Lines:
    """The output of a process, line by line, with deadlines."""

    def __init__(self, stream):
        self.seen = []
        self._queue = queue.Queue()
        self._thread = threading.Thread(target=self._read, args=(stream,), daemon=True)
        self._thread.start()

    def _read(self, stream):
        for line in stream:
            self._queue.put(line)
        self._queue.put(None)

    def until(self, words, within_s=PATIENCE_S):
        """Wait for a line that holds these words, or one of several; gives it."""
        wanted = (words,) if isinstance(words, str) else words
        deadline = time.monotonic() + within_s
        while True:
            try:
                line = self._queue.get(timeout=max(0.0, deadline - time.monotonic()))
            except queue.Empty:
                line = None
            if line is None:
                raise AssertionError(f"never saw {words!r} in:\n{''.join(self.seen)}")
            self.seen.append(line)
            if any(each in line for each in wanted):
                return line

    def rest(self):
        """Everything up to the end of the output, also what was waited for before."""
        self._thread.join(PATIENCE_S)
        while (line := self._queue.get(timeout=PATIENCE_S)) is not None:
            self.seen.append(line)
        return "".join(self.seen)


class Typed:
    """A process that is typed to and read from."""

    def __init__(self, *arguments, **options):
        self.process = subprocess.Popen(
            [sys.executable, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            env=QUIET,
            **options,
        )
        self.lines = Lines(self.process.stdout)

    def type(self, line):
        """Type one line."""
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()

    def until(self, words, within_s=PATIENCE_S):
        """Wait for a line that holds these words."""
        return self.lines.until(words, within_s)

    def end(self, number=signal.SIGTERM, within_s=PATIENCE_S):
        """Send a signal and wait; gives exit code and whole output."""
        self.process.send_signal(number)
        code = self.process.wait(within_s)
        return code, self.lines.rest()

    def close(self):
        """Make sure that nothing is left."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(5)
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.close()
        self.lines._thread.join(5)
        self.process.stdout.close()


SPEED = 4.0
"""How much faster than in life clocks go here: that of the bench, and that of the unit and its meter."""

AIR_S = 2.0
"""Between two contacts: as long as a slow meter needs to show that the probes are off, by those clocks."""


@contextlib.contextmanager
def simulated(port, *words, speed=SPEED):
    """The simulated bench with typed hands, its meter on a known port; thermometer not used."""
    sim = Typed("-P", "-m", "sim", "--hands", "typed", "--speed", str(speed), "--meter-port", str(port),
                "--no-pty", *words)  # fmt: skip
    try:
        sim.until("on the bench:")
        yield sim
    finally:
        sim.close()


def lift(sim):
    """Take the probes off, and keep them off until the meter has shown it."""
    sim.type("lift")
    sim.until("probes in the air")
    time.sleep(AIR_S / SPEED)


@contextlib.contextmanager
def running(file, *words, speed=SPEED, **options):
    """`steadyohm run` as a process of its own."""
    bench = Typed("-m", "tests.hurried", str(speed), "run", str(file), *words, **options)
    try:
        yield bench
    finally:
        bench.close()


def csv_rows(folder, kind="verdict"):
    """All rows of one kind in the CSV files of a run."""
    rows = []
    names = {"verdict": ("verdicts", "batch"), "typed_result": ("results",), "unit_result": ("units",)}[kind]
    for file in sorted((folder / "csv").glob("*.csv")):
        if not file.name.startswith(names):
            continue
        with file.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream)
            rows += list(reader)
            assert reader.fieldnames == header(kind)
    return rows


def journal_entries(folder, *kinds):
    """Entries of the journal of a run."""
    with JournalReader(folder / "journal") as journal:
        return list(journal.find(Query(kinds=kinds)))


def truth_lines(file):
    """Everything of a truth log."""
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
