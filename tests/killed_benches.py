"""`steadyohm run` killed with SIGKILL at random instants, again and again, with everything real around it.

    simulated meter (python -m sim, a process)  <- probes moved by this operator
    steadyohm run (a process)                   <- serials typed by this operator, killed by the dice
    mosquitto (a process)                       -> a subscriber of plain aiomqtt

The operator sees what a person at the bench would: the prompt, which the bench publishes. Not a test itself;
the short form is tests/reliability/test_daemon_kills.py, the long one tests/benchmarks/kills.py.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import random
import re
import signal
import sys
import time
from collections import Counter
from dataclasses import dataclass, field

from acquire.journal.history import JournalReader, Query
from tests.brokers import Mosquitto, subscriber
from tests.waiting import PATIENCE_S
from tests.whole_bench import QUIET, bench_file, csv_rows, free_port

SPEED = 20
"""Simulated seconds per second: contacts come to rest twenty times as fast."""

SETTLE = """
[settle]
span = "0.1 s"
window = "2 s"
horizon = "0.1 s"
slow_horizon = "0.1 s"
slow_span = "0.1 s"
final_span = "0.3 s"
lift_off = "0.05 s"
"""
"""Limits to match, so that a unit takes seconds; what is proved here does not hang on them."""

LIVES, SHARES = ("young", "working", "sending"), (0.2, 0.4, 0.4)
"""Kinds of instants: any since the start, which may lie before the bench is at work; any of its work; and the
few milliseconds after a verdict was heard, when cursors are on their way to the disk."""

SLOW_START_S = 60.0

MOST_LIVES = 3
"""Kills for each that was asked for, at most, until there is a verdict for each."""

AIR_S = 0.3
TIRED_S = 2.0
"""Probes that nothing has come of for so long are lifted and set down again."""


@dataclass
class Counts:
    """What came of all lives.

    Attributes:
        kills: processes killed; young: of those, killed before they had said anything.
        resumed: starts that found a unit in work; verdicts, results, units: on the journal.
        copies: verdicts and results that came over MQTT more than once, all equal.
        lost, csv_twice: must be 0.
    """

    kills: int = 0
    young: int = 0
    resumed: int = 0
    verdicts: int = 0
    results: int = 0
    units: int = 0
    copies: int = 0
    lost: int = 0
    csv_twice: int = 0
    took_s: float = 0.0


@dataclass
class KilledBench:
    """One bench and its many lives."""

    folder: object
    seed: int
    counts: Counts = field(default_factory=Counts)
    _serial: int = 0
    _seen: int = 0
    _open: tuple | None = None

    async def live(self, kills):
        """Kill it so many times, let it live once more, then compare the records. Gives the counts."""
        began_s = time.monotonic()
        self._dice = random.Random(self.seed)
        (self.folder / "work").mkdir(parents=True)
        with Mosquitto(self.folder / "broker", "max_queued_messages 0") as broker:
            async with subscriber(broker.port) as self.ear:
                await self._with_meter(broker.port, kills)
                await self._all_heard()
                self.compare()
        self.counts.took_s = time.monotonic() - began_s
        return self.counts

    async def _with_meter(self, broker_port, kills):
        port = free_port()
        words = (
            f"--hands typed --brief --speed {SPEED} --no-pty --meter-port {port} --seed {self.seed}".split()
        )
        changes = [
            ("integration_plc = 1.0", "integration_plc = 10.0"),
            ("[journal]", f'[mqtt]\nhost = "127.0.0.1"\nport = {broker_port}\n{SETTLE}\n[journal]'),
        ]
        self._file = bench_file(self.folder / "work", meter=f"tcp:127.0.0.1:{port}", changes=changes)
        sim = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-m", "sim", *words,
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL,
        )  # fmt: skip
        self._sim = sim
        try:
            for _ in range(kills):
                await self._one_life(self._dice.choices(LIVES, SHARES)[0])
            while len(self._entries("verdict")) < kills and self.counts.kills < MOST_LIVES * kills:
                await self._one_life("sending")  # on a busy machine the others have done little
            await self._last_life()
        finally:
            sim.stdin.close()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(sim.wait(), PATIENCE_S)
            if sim.returncode is None:
                sim.kill()
                await sim.wait()

    # ------------------------------------------------------------------ lives

    async def _start(self):
        with (self.folder / "output").open("ab") as output:
            self._run = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "acquire", "run", str(self._file),
                stdin=asyncio.subprocess.PIPE, stdout=output, stderr=output, env=QUIET,
            )  # fmt: skip
        self._seen = len(self.ear.heard)
        self._verified = False

    async def _one_life(self, kind):
        """Kill it at an instant of this kind."""
        await self._start()
        until = {}
        if kind == "working":
            until = {"after_first_prompt_s": self._dice.uniform(0.0, 1.8)}
        elif kind == "sending":
            until = {"after_verdict_s": self._dice.uniform(0.0, 0.008)}
        young_s = self._dice.uniform(0.1, 1.5)
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(SLOW_START_S if until else young_s):
                await self._work(**until)
        assert self._run.returncode is None, self._story()
        self._run.send_signal(signal.SIGKILL)
        await self._run.wait()
        await asyncio.sleep(0.05)  # what was under way to the subscriber arrives
        self.counts.kills += 1
        self.counts.young += not self._verified
        self._open = self._unit_in_work()

    async def _last_life(self):
        await self._start()
        async with asyncio.timeout(120.0):
            await self._work(until_units=1)
        self._run.send_signal(signal.SIGTERM)
        assert await asyncio.wait_for(self._run.wait(), PATIENCE_S) == 0, self._story()

    def _story(self):
        return (self.folder / "output").read_text(errors="replace")[-3000:]

    # ------------------------------------------------------------------ the operator

    async def _work(self, *, until_units=None, after_first_prompt_s=None, after_verdict_s=None):
        """Do what the prompts ask for."""
        acted_s, asked, units, latest_s = time.monotonic(), None, 0, math.inf
        while time.monotonic() < latest_s:
            for topic, payload, retained in self._news():
                units += topic.endswith("/unit") and "outcome" in payload
                if topic.endswith("/verdict") and after_verdict_s is not None:
                    await asyncio.sleep(after_verdict_s)
                    return
                if topic.endswith("/prompt") and payload and not retained:
                    if not self._verified and after_first_prompt_s is not None:
                        latest_s = time.monotonic() + after_first_prompt_s
                    self._look_at_first(payload)
                    asked = payload
                    await self._act(asked)
                    acted_s = time.monotonic()
            if until_units is not None and units >= until_units and asked["ask"] == "start_unit":
                return
            if asked and time.monotonic() - acted_s > TIRED_S:
                await self._act(asked)
                acted_s = time.monotonic()
            await asyncio.sleep(0.001)

    def _news(self):
        fresh = self.ear.heard[self._seen :]
        self._seen += len(fresh)
        return fresh

    async def _act(self, asked):
        match asked["ask"]:
            case "start_unit":
                self._serial += 1
                self._type(self._run, f"K-{self._serial:04d}")
            case "short_probes":
                await self._move("short")
            case "touch" | "touch_again":
                self._type(self._run, ".result polarity = aiding, pass, by LCR-1")
                await self._move(" ".join(asked["pair"]))
            case _:
                self._type(self._sim, "lift")

    async def _move(self, words):
        self._type(self._sim, "lift")
        await asyncio.sleep(AIR_S)
        self._type(self._sim, words)

    @staticmethod
    def _type(process, line):
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            process.stdin.write(line.encode() + b"\n")

    # ------------------------------------------------------------------ what must hold

    def _unit_in_work(self):
        """Serial and passed steps of the unit that the kill interrupted, from the journal; None without."""
        entries = self._entries("unit_started", "unit_result", "verdict")
        starts = [entry for entry in entries if entry.kind == "unit_started"]
        if not starts:
            return None
        serial = starts[-1].serial
        own = [entry for entry in entries if entry.seq >= starts[-1].seq]
        if any(entry.kind == "unit_result" for entry in own):
            return None
        done = {e.payload["step"] for e in own if e.kind == "verdict" and e.payload["counts"]}
        return serial, done

    def _look_at_first(self, prompt):
        """The first prompt of a life: the interrupted unit, at a step that is still open."""
        if self._verified:
            return
        self._verified = True
        if self._open is None:
            assert prompt["ask"] == "start_unit", prompt
            return
        serial, done = self._open
        assert prompt["serial"] == serial, (prompt, self._open)
        assert prompt["step"] not in done, (prompt, self._open)
        assert prompt["steps_done"] >= len(done - {"warm check"}), (prompt, self._open)
        self.counts.resumed += 1

    def _entries(self, *kinds):
        if not (self.folder / "work" / "journal" / "journal.db").exists():
            return []
        with JournalReader(self.folder / "work" / "journal") as journal:
            return list(journal.find(Query(kinds=kinds, limit=1_000_000)))

    async def _all_heard(self):
        """What the broker has confirmed may still be on its way to the subscriber."""
        for kind, last in (("verdict", "verdict"), ("typed_result", "result")):
            wanted = {entry.id for entry in self._entries(kind)}
            with contextlib.suppress(TimeoutError):  # what is missing then, `compare` says
                await self.ear.until(lambda e, w=wanted, t=last: w <= {p["id"] for p in e.of(t)})

    def compare(self):
        """Journal, CSV and what the subscriber heard agree; nothing a person saw is missing."""
        results, counts = self._entries("unit_result"), self.counts
        ids = self._agreed("verdict", "verdict")
        counts.verdicts, counts.units = len(ids), len(results)
        counts.results = len(self._agreed("typed_result", "result"))
        assert len({e.payload["serial"] for e in results}) == len(results), "a unit ended twice"
        output = (self.folder / "output").read_text(errors="replace")
        assert "Traceback" not in output, self._story()
        shown = re.findall(r"(?m)^  \S+–\S+ .*Ω.* ● pass$", output)
        assert len(shown) <= len(ids), "shown before it was on record"

    def _agreed(self, kind, last):
        """Entries of a kind have one row and were heard, in order; gives their ids."""
        ids, counts = [entry.id for entry in self._entries(kind)], self.counts
        written = [row["id"] for row in csv_rows(self.folder / "work", kind)]
        rows, heard = Counter(written), {}
        for payload in self.ear.of(last):
            assert heard.setdefault(payload["id"], payload) == payload, "a copy differs"
        counts.csv_twice += sum(rows.values()) - len(rows)
        counts.copies += len(self.ear.of(last)) - len(heard)
        counts.lost += len(set(ids) - set(rows)) + len(set(ids) - set(heard))
        assert set(rows) <= set(ids), "a row of nothing"
        assert set(heard) <= set(ids), "heard, and not on record"
        assert counts.lost == counts.csv_twice == 0, counts
        assert written == ids, "rows out of order"
        assert list(dict.fromkeys(p["id"] for p in self.ear.of(last))) == ids, "first copies out of order"
        return ids
