"""Meters killed, restarted, stalled, garbled under a running daemon: readings resume, none on a wrong step.

The meters are processes of their own on TCP and on a pty; the probes often stand on another pair when a meter
comes back, so that a value carried over an outage would be seen.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
import re
import signal
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from acquire.bench.assembly import assemble
from acquire.clock import RealClock
from acquire.files.settings import load_bench
from acquire.records import Judged, Outcome, Prompt, Settled, StartUnit, UnitResult
from tests.whole_bench import CONFIGS, free_port

SHEET = """
[sheet]
name = "Plover charge windings"

[connector]
rows = [["1", "2", "3"]]

[[winding]]
name = "slow charge"
between = ["1", "2"]
resistance = "202.6 ohm"
acceptance = "8 %"

[[winding]]
name = "fast charge"
between = ["2", "3"]
resistance = "46.2 ohm"
acceptance = "8 %"
"""
TRUE_OHM = {("1", "2"): 202.6, ("2", "3"): 46.2, ("1", "3"): 248.8}
"""Of the simulated unit, within its spread of a few per cent; the three are far apart."""

BAD_LINE = "drop=0.004,garble=0.004,stall=0.02,stall_s=1"

LATE_S = 1.2
"""A bad line holds a frame back for a second, so that a touch is seen this much later."""


@dataclass
class Rig:
    """A daemon in this process, and its meter in one that dies again and again."""

    folder: Path
    kind: str
    dice: random.Random
    link: str = ""
    events: list = field(default_factory=list)
    deaths_s: list = field(default_factory=list)
    touches: list = field(default_factory=list)
    prompt: Prompt | None = None
    process: asyncio.subprocess.Process | None = None
    listener: asyncio.Task | None = None
    daemon: object = None
    units: int = 0
    insisted: int = 0

    def bench(self):
        """Its bench file."""
        (self.folder / "sheet.toml").write_text(SHEET, encoding="utf-8")
        tcp = self.kind == "tcp"
        model = (CONFIGS / "meters" / ("bench-6-digit.toml" if tcp else "hand-6000.toml")).read_text("utf-8")
        model = model if tcp else re.sub(r"full_scale_si = 6", "full_scale_si = 4", model)
        (self.folder / "meter.toml").write_text(model, encoding="utf-8")
        self.link = f"tcp:127.0.0.1:{free_port()}" if tcp else f"serial:{self.folder / 'by-id'}?baud=2400"
        driver = 'driver = "scpi"\nintegration_plc = 1.0\noptions = { reply_timeout_s = 0.5 }'
        text = f"""[bench]
name = "{self.kind}"
purpose = "final"
sheet = "sheet.toml"
[meter]
{driver if tcp else 'driver = "parity11"'}
link = "{self.link}"
model = "meter.toml"
[temperature]
source = "typed"
value = "22.5 °C"
uncertainty = "2 K"
[leads]
zero = "value"
value = "0.1 ohm"
uncertainty = "0.1 ohm"
[journal]
folder = "journal"
"""
        file = self.folder / "bench.toml"
        file.write_text(text, encoding="utf-8")
        return load_bench(file)

    def show(self, event):
        """What the daemon gives."""
        self.events.append(event)
        if isinstance(event, Prompt):
            self.prompt = event

    async def plug_in(self, *words):
        """Start the meter where the daemon looks for it."""
        tcp = self.kind == "tcp"
        where = ["--meter-port", self.link.rpartition(":")[2]] if tcp else ["--meter-link", "pty"]
        kind = "bench-6-digit" if tcp else "hand-4000"
        self.process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-m", "sim", "--hands", "typed", "--speed", "4", "--thermometer", "tcp",
            "--meter", kind, *where, *words,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
        )  # fmt: skip
        while line := (await self.process.stdout.readline()).decode():
            if (port := re.search(r"/dev/pts/\d+", line)) and not tcp:
                (self.folder / "new").symlink_to(port[0])
                (self.folder / "new").replace(self.folder / "by-id")
            if "on the bench:" in line:
                break
        self.listener = asyncio.create_task(self._drain(self.process.stdout), name="sim's words")

    @staticmethod
    async def _drain(stream):
        while await stream.read(4096):
            pass

    async def pull_out(self, number=signal.SIGKILL):
        """End the meter."""
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(number)
        await self.process.wait()
        (self.folder / "by-id").unlink(missing_ok=True)  # the system gives the number of a pty away again
        self.deaths_s.append(time.monotonic())
        await self.listener
        self.process.stdin.close()

    async def touch(self, pair):
        """Move the probes."""
        self.touches.append((time.monotonic(), pair))
        self.process.stdin.write(f"{' '.join(pair)}\n".encode())
        await self.process.stdin.drain()

    async def until_readings_resume(self, within_s=30.0):
        """Several more readings."""
        feed = self.daemon.feeds[0]
        before, deadline = feed.came, time.monotonic() + within_s
        while feed.came < before + 3:
            assert time.monotonic() < deadline, (self.kind, "no readings any more", self.events[-5:])
            await asyncio.sleep(0.02)

    async def unit_on_bench(self):
        """There is always one."""
        if self.daemon.pipeline.unit is None:
            self.units += 1
            await self.daemon.command(StartUnit(f"{self.kind}-{self.units}"))

    async def accident(self):
        """One of them, at any moment of a touch."""
        dice, pairs = self.dice, sorted(TRUE_OHM)
        await self.unit_on_bench()
        wanted = self.prompt.pair if self.prompt is not None and self.prompt.pair else pairs[0]
        await self.touch(wanted if dice.random() < 0.7 else dice.choice(pairs))
        await asyncio.sleep(dice.uniform(0.0, 3.0))
        what = dice.choice(("killed", "ended", "stalled", "garbled"))
        if what == "stalled":
            self.process.send_signal(signal.SIGSTOP)
            await asyncio.sleep(dice.uniform(0.3, 1.5))
            self.process.send_signal(signal.SIGCONT)
        else:
            await self.pull_out(signal.SIGTERM if what == "ended" else signal.SIGKILL)
            await asyncio.sleep(dice.uniform(0.0, 0.5))
            await self.plug_in(*(["--trouble", BAD_LINE] if what == "garbled" else []))
            await self.touch(dice.choice(pairs))
        await self.until_readings_resume()
        return what

    def under_the_probes(self, from_s, to_s):
        """Pairs that the probes were on at any moment in between."""
        before = [pair for at_s, pair in self.touches if at_s <= from_s][-1:]
        return {tuple(sorted(pair)) for pair in before} | {
            tuple(sorted(pair)) for at_s, pair in self.touches if from_s < at_s <= to_s
        }

    def judge(self):
        """No verdict of what was not under the probes, no settled value across a death. How many verdicts."""
        settled, verdicts = None, 0
        for event in self.events:
            if isinstance(event, Settled):
                settled = event
                # a death is noted when the process has been waited for, up to 0.1 s late
                assert not [s for s in self.deaths_s if event.contact_s < s - 0.1 < event.monotonic_s - 0.1]
            elif isinstance(event, Judged) and event.verdict.reference_ohm is not None:
                verdicts += 1
                self._judge(event.verdict, settled)
        return verdicts

    def _judge(self, verdict, settled):
        """The value is of a pair under the probes then; and of the verdict's own, unless the hands insisted.

        Hands that touch a wrong pair twice, although told what it reads like, never get a pass for it.
        """
        pair = tuple(sorted((verdict.pin_a, verdict.pin_b)))
        touched = self.under_the_probes(settled.contact_s - LATE_S, settled.monotonic_s)
        read = {p for p in touched if verdict.reference_ohm == pytest.approx(TRUE_OHM[p], rel=0.08)}
        assert read, (verdict, touched)
        if pair not in read:
            self.insisted += 1
            assert verdict.outcome not in (Outcome.PASS, Outcome.CONDITIONAL_PASS), (verdict, touched)


def descriptors():
    """Open ones of this process."""
    return len(list(Path("/proc/self/fd").iterdir()))


def threads():
    """Those of this process, but those in which asyncio waits for the meters."""
    return sum("waitpid" not in thread.name for thread in threading.enumerate())


@contextlib.asynccontextmanager
async def at_work(folder, kind, seed):
    """A rig whose meter is plugged in and whose daemon runs."""
    folder.mkdir()
    rig = Rig(folder, kind, random.Random(seed))
    rig.daemon = await assemble(rig.bench(), clock=RealClock(), show=rig.show)
    stop = asyncio.Event()
    await rig.plug_in()
    work = asyncio.create_task(rig.daemon.run(stop), name=f"daemon {kind}")
    try:
        await rig.until_readings_resume()
        yield rig
    finally:
        stop.set()
        await work
        await rig.pull_out()


async def accidents(folder, times, seed):
    """So many in turn on a TCP and a pty meter; gives their kinds, how many verdicts, resources used."""
    async with at_work(folder / "a", "tcp", seed) as tcp, at_work(folder / "b", "pty", seed + 1) as pty:
        happened, before = [], None

        async def shift(rig):
            for _ in range(times // 2):
                what = await rig.accident()
                happened.append(what)

        await asyncio.gather(*(rig.accident() for rig in (tcp, pty)))
        await asyncio.sleep(0.5)
        before = descriptors(), threads()
        await asyncio.gather(shift(tcp), shift(pty))
        await asyncio.gather(*(rig.until_readings_resume() for rig in (tcp, pty)))
        await asyncio.sleep(0.5)
        after = descriptors(), threads()
        results = sum(isinstance(event, UnitResult) for rig in (tcp, pty) for event in rig.events)
        verdicts = tcp.judge(), pty.judge(), results, tcp.insisted + pty.insisted
        return happened, verdicts, before, after


def report(happened, verdicts, before, after):
    """For whoever runs it with -s."""
    counts = {what: happened.count(what) for what in sorted(set(happened))}
    print(
        f"{len(happened)} accidents {counts}; verdicts tcp, pty, units, insisted: {verdicts}; "
        f"descriptors, threads {before} -> {after}"
    )


async def test_meters_die_stall_and_garble_under_a_running_daemon(tmp_path):
    """Eight accidents on two meters; the long form has two hundred."""
    happened, verdicts, before, after = await accidents(tmp_path, 8, 5)
    report(happened, verdicts, before, after)
    assert min(verdicts[:2]) >= 1
    assert after[0] <= before[0] + 1
    assert after[1] <= before[1] + 1


@pytest.mark.long
@pytest.mark.timeout(1800)
async def test_two_hundred_accidents(tmp_path):
    """The same, two hundred times."""
    happened, verdicts, before, after = await accidents(tmp_path, 200, 11)
    report(happened, verdicts, before, after)
    assert len(happened) == 200
    assert min(verdicts[:2]) >= 20
    assert after[0] <= before[0] + 1
    assert after[1] <= before[1] + 1
