"""One bench of the rig: the meter and its probes here, the real daemon a process, its page followed as data.

Files are the user's: a bench file, sheets and a meter file. The daemon is started, typed to, killed and
started again as a person would; nothing of it is imported.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

from tests.adversary.instrument import Instrument, Probes
from tests.adversary.record import Journal

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 90.0

QUICK = """
[settle]
span = "0.1 s"
window = "2 s"
horizon = "0.1 s"
slow_horizon = "0.1 s"
slow_span = "0.1 s"
final_span = "0.3 s"
lift_off = "0.05 s"
"""
"""Limits by which a unit takes seconds; what is proved here does not hang on them."""


def free_port():
    """A loopback port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Ear:
    """Follows `/events` of the bench page: the whole state, and every request in order."""

    def __init__(self, port):
        self.port = port
        self.state, self.asks, self.changes = {}, [], 0
        self.news = threading.Condition()
        self._ended = False
        self._pipe = None
        self._thread = threading.Thread(target=self._follow, daemon=True, name="page")
        self._thread.start()

    def _follow(self):
        while not self._ended:
            with contextlib.suppress(OSError, http.client.HTTPException, ValueError):
                self._listen()
            time.sleep(0.02)

    def _listen(self):
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            link.request("GET", "/events", headers={"Host": f"127.0.0.1:{self.port}"})
            self._pipe = link.sock
            answer, name = link.getresponse(), ""
            for line in answer:
                text = line.decode().rstrip("\n")
                if text.startswith("event: "):
                    name = text.removeprefix("event: ")
                elif text.startswith("data: ") and name in ("state", "change"):
                    self._take(json.loads(text.removeprefix("data: ")), whole=name == "state")
        finally:
            link.close()

    def _take(self, data, *, whole):
        with self.news:
            self.state = dict(data) if whole else {**self.state, **data}
            ask = self.state.get("ask")
            if ask and (not self.asks or self.asks[-1] != ask):
                self.asks.append(ask)
            self.changes += 1
            self.news.notify_all()

    def forget(self):
        """What a daemon that is gone has said counts no more."""
        with self.news:
            self.state = {}
            self.changes += 1

    def until(self, fits, within_s=PATIENCE_S):
        """Wait until the state fits; gives it, or None if it never does."""
        deadline_s = time.monotonic() + within_s
        with self.news:
            while not fits(self.state):
                left_s = deadline_s - time.monotonic()
                if left_s <= 0:
                    return None
                self.news.wait(min(left_s, 0.2))
            return self.state

    def close(self):
        """Leave."""
        self._ended = True
        with contextlib.suppress(OSError, AttributeError):
            self._pipe.shutdown(socket.SHUT_RDWR)
        self._thread.join(2.0)


class Bench:
    """Meter, probes, daemon and record.

    Args:
        folder: of its files.
        sheet: file of the unit type.
        purpose, celsius, uncertainty_kelvin, tables: for the bench file; `tables` is TOML that is added.
        meter: more for the table `[meter]`; order: of the steps.
        quick: short limits of rest.
    """

    def __init__(
        self, folder, sheet, *, purpose="final", celsius=22.0, uncertainty_kelvin=1.0, tables="", meter="",
        order="guided", quick=True, seed=1, probes=None, conversion_s=0.02, batch="",
    ):  # fmt: skip
        self.folder, self.sheet = Path(folder), Path(sheet)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.words = {
            "purpose": purpose,
            "celsius": celsius,
            "uncertainty_kelvin": uncertainty_kelvin,
            "tables": tables,
            "meter": meter,
            "order": order,
            "quick": quick,
            "batch": batch,
        }
        self.probes = probes or Probes()
        self.instrument = Instrument(self.probes, seed=seed, conversion_s=conversion_s)
        self.page_port = free_port()
        self.journal = Journal(self.folder)
        self.file = self.folder / "bench.toml"
        self.write()
        self.ear = Ear(self.page_port)
        self.process = None
        self.lives = 0

    def write(self, **changes):
        """Write the bench file, with some of its words changed."""
        self.words |= changes
        words = self.words
        batch = f'batch = "{words["batch"]}"\n' if words["batch"] else ""
        self.file.write_text(
            f"""[bench]
name = "rig"
purpose = "{words["purpose"]}"
sheet = "{self.sheet}"
order = "{words["order"]}"
{batch}
[meter]
driver = "scpi"
link = "{self.instrument.address}"
model = "{ROOT / "configs" / "meters" / "bench-6-digit.toml"}"
four_wire_below = "10 ohm"
integration_plc = 1.0
{words["meter"]}

[temperature]
source = "typed"
value = "{words["celsius"]:.2f} °C"
uncertainty = "{words["uncertainty_kelvin"]:.2f} K"

[journal]
folder = "journal"

[csv]
folder = "csv"

[page]
port = {self.page_port}
{QUICK if words["quick"] else ""}
{words["tables"]}
""",
            encoding="utf-8",
        )

    # ------------------------------------------------------------------ the daemon

    def start(self, shown_within_s=3 * PATIENCE_S):
        """Start the daemon and wait until its page says what it asks for."""
        self.ear.forget()
        self.lives += 1
        with (self.folder / "output").open("ab") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "acquire", "run", str(self.file)],
                stdin=subprocess.PIPE, stdout=output, stderr=output, cwd=ROOT,
                env={**os.environ, "TERM": "dumb", "COLUMNS": "160"},
            )  # fmt: skip
        shown = self.ear.until(lambda state: state.get("ask") or self._gone(), shown_within_s)
        assert shown is not None, f"it asks for nothing: {self.output()}"
        assert self.process.poll() is None, self.output()
        return self

    def _gone(self):
        return self.process.poll() is not None

    def kill(self):
        """As a power cut does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        self._drop_pipe()

    def stop(self):
        """As Ctrl-C at the end of the day."""
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(PATIENCE_S)
        self._drop_pipe()
        return code

    def _drop_pipe(self):
        with contextlib.suppress(OSError):
            self.process.stdin.close()
        self.process = None

    def type(self, line):
        """Type one line and press Enter."""
        self.process.stdin.write(line.encode() + b"\n")
        self.process.stdin.flush()

    def output(self):
        """What the terminal has shown."""
        return (self.folder / "output").read_text(encoding="utf-8", errors="replace")

    def command(self, *words):
        """Another command of the program; gives exit code and output."""
        done = subprocess.run(
            [sys.executable, "-m", "acquire", *map(str, words)], cwd=ROOT, capture_output=True, text=True,
            encoding="utf-8", timeout=120, check=False, env={**os.environ, "TERM": "dumb", "COLUMNS": "160"},
        )  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    def asked(self, path):
        """A question to the page; gives its JSON."""
        link = http.client.HTTPConnection("127.0.0.1", self.page_port, timeout=PATIENCE_S)
        try:
            link.request("GET", path, headers={"Host": f"127.0.0.1:{self.page_port}"})
            return json.loads(link.getresponse().read())
        finally:
            link.close()

    # ------------------------------------------------------------------ what it asks for

    @property
    def ask(self):
        """What it asks for now: kind and pair."""
        ask = self.ear.state.get("ask") or {}
        return ask.get("kind"), tuple(ask["pair"]) if ask.get("pair") else None

    def until_asked(self, kind, pair=None, within_s=PATIENCE_S):
        """Wait for a request; gives whether it came."""

        def fits(state):
            ask = state.get("ask") or {}
            kinds = (kind,) if isinstance(kind, str) else kind
            return ask.get("kind") in kinds and (pair is None or tuple(ask.get("pair") or ()) == tuple(pair))

        return self.ear.until(fits, within_s) is not None

    def until_judged(self, number, serial=None, within_s=PATIENCE_S):
        """Wait until so many verdicts are on record; gives them."""
        deadline_s = time.monotonic() + within_s
        while len(told := self.journal.verdicts(serial)) < number and time.monotonic() < deadline_s:
            time.sleep(0.02)
        return told

    def until_entries(self, number, within_s=PATIENCE_S):
        """Wait until the journal holds so many entries; gives how many it holds."""
        deadline_s = time.monotonic() + within_s
        while (count := self.journal.count()) < number and time.monotonic() < deadline_s:
            time.sleep(0.002)
        return count

    def close(self):
        """Leave nothing behind."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self._drop_pipe()
        self.ear.close()
        self.instrument.close()

    def __enter__(self):
        return self.start()

    def __exit__(self, *_):
        self.close()
