"""A whole line with everything real around it, and accidents at random instants: `make line-demo`.

    light benches (processes) -> mosquitto -> collectors (`steadyohm collect`) -> PostgreSQL
                  ^------------- what is kept -------------'

    python -m tests.whole_line [--benches 50] [--collectors 3] [--kills 12] [--seconds 40] [--seed 7]

kill -9 hits collectors, the broker and the database. At the end every entry of every journal must be in the
database exactly once and as it was recorded, with the evidence of each verdict. It runs as root or not:
PostgreSQL refuses root, which becomes the user postgres for it. Not a test itself; its short form is
tests/reliability/test_line_kills.py.
"""

from __future__ import annotations

import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import psycopg

from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.line.record import LineRecord
from tests.brokers import MOSQUITTO, Mosquitto
from tests.postgres import BINARIES, Postgres, new_database

ROOT = Path(__file__).resolve().parents[1]

BROKER = """
set_tcp_nodelay true
max_inflight_messages 0
max_queued_messages 0
persistence true
persistence_location {folder}/
autosave_interval 5
persistent_client_expiration 1d
"""
"""As configs/line/mosquitto.conf, without TLS and logins."""

COLLECTOR = """
[collector]
name = "collector-1"
[broker]
host = "127.0.0.1"
port = {port}
[database]
address = "{address}"
"""


at_once = partial(print, flush=True)


@dataclass
class WholeLine:
    """One line and its accidents."""

    folder: Path
    benches: int = 50
    collectors: int = 3
    kills: int = 12
    seconds: float = 40.0
    rate: float = 1.5
    seed: int = 7
    processes: int = 4
    patience_s: float = 150.0
    tell: Callable[[str], object] = at_once
    killed: Counter = field(default_factory=Counter)

    def run(self):
        """Let it work, let accidents happen, then compare; gives the figures."""
        self._dice = random.Random(self.seed)
        self._work, self._collect = [], {}
        with (
            Postgres(self.folder / "postgres") as self.database,
            Mosquitto(self.folder / "broker", BROKER.format(folder=self.folder / "broker")) as self.broker,
        ):
            self.address = new_database(self.database, "line")
            try:
                return self._with_peers()
            finally:
                for process in [*self._work, *self._collect.values()]:
                    process.kill()
                    process.wait()

    def _with_peers(self):
        for name in self._names():
            self._start_collector(name)
        self._start_benches()
        began_s = self._began_s = time.monotonic()
        self.tell(
            f"{self.benches} benches -> mosquitto -> {self.collectors} collectors -> PostgreSQL (fsync on),"
            f" all real but the instruments.\nThe benches work for {self.seconds:.0f} s; {self.kills} times"
            f" meanwhile something is killed with -9 (seed {self.seed})."
        )
        gaps = sorted(self._dice.uniform(0.5, self.seconds) for _ in range(self.kills))
        kinds = (["broker", "collector", "database", "collector"] * self.kills)[: self.kills]
        self._dice.shuffle(kinds)
        for at_s, kind in zip(gaps, kinds, strict=True):
            self._wait_until(began_s + at_s)
            self._accident(kind)
        self._wait_until(began_s + self.seconds)
        self._told("the benches stop; each waits until the line has confirmed all it recorded")
        took_s = self._until_confirmed(began_s)
        self._told("all is confirmed; now every journal is compared with the database")
        for process in self._collect.values():
            process.send_signal(signal.SIGTERM)
        ends = [process.wait(10.0) for process in self._collect.values()]
        assert ends == [0] * len(ends), f"collectors ended with {ends}: {self._story()}"
        return {**self.compare(), "took_s": took_s, "kills": dict(self.killed)}

    def _names(self):
        return [f"collector-{number}" for number in range(1, self.collectors + 1)]

    def _start_collector(self, name):
        file = self.folder / "collector.toml"
        file.write_text(COLLECTOR.format(port=self.broker.port, address=self.address))
        with (self.folder / f"{name}.log").open("ab") as log:
            self._collect[name] = subprocess.Popen(
                [sys.executable, "-m", "acquire", "collect", str(file), "--name", name],
                stdout=log, stderr=log, cwd=self.folder,
            )  # fmt: skip

    def _start_benches(self):
        (self.folder / "benches").mkdir()
        each = -(-self.benches // self.processes)
        for first in range(0, self.benches, each):
            words = [self.folder / "benches", first, min(each, self.benches - first)]
            words += [self.broker.port, self.seconds, self.rate]
            with (self.folder / "benches.log").open("ab") as log:
                self._work.append(
                    subprocess.Popen(
                        [sys.executable, "-m", "tests.light_benches", *map(str, words)],
                        stdout=subprocess.PIPE, stderr=log, cwd=ROOT,
                    )
                )  # fmt: skip

    # ------------------------------------------------------------------ accidents

    def _accident(self, kind):
        self.killed[kind] += 1
        pause_s = self._dice.uniform(0.0, 1.5)
        if kind == "collector":
            name = self._dice.choice(self._names())
            self._told(f"kill -9 {name}, back after {pause_s:.1f} s")
            self._collect[name].kill()
            self._collect[name].wait()
            time.sleep(pause_s)
            self._start_collector(name)
        elif kind == "broker":
            self._told(f"kill -9 mosquitto, back after {pause_s:.1f} s")
            self.broker.kill()
            time.sleep(pause_s)
            self.broker.start()
        else:
            self._told(f"kill -9 postgres, back after {pause_s:.1f} s")
            self.database.kill()
            time.sleep(pause_s)
            self.database.start()

    def _told(self, what):
        self.tell(f"{time.monotonic() - self._began_s:6.1f} s  {what}")

    def _wait_until(self, at_s):
        time.sleep(max(0.0, at_s - time.monotonic()))
        for process in self._work:
            assert process.poll() in (None, 0), f"benches ended: {self._story()}"

    def _until_confirmed(self, began_s):
        self.again = 0
        for process in self._work:
            try:
                out, _ = process.communicate(timeout=self.patience_s)
            except subprocess.TimeoutExpired:
                raise AssertionError(f"the line has not confirmed everything: {self._story()}") from None
            assert process.returncode == 0, self._story()
            self.again += int(out)
        return time.monotonic() - began_s

    def _story(self):
        logs = sorted(self.folder.glob("*.log"))
        return "\n".join(f"{log.name}: {log.read_text(errors='replace')[-1500:]}" for log in logs)

    # ------------------------------------------------------------------ what must hold

    def compare(self):
        """Every entry of every journal once and unchanged, with its evidence; nothing else."""
        wanted, evidence, recorded = Counter(), Counter(), {}
        for folder in sorted((self.folder / "benches").iterdir()):
            with JournalReader(folder) as journal:
                for entry in journal.find(Query()):
                    recorded[entry.id] = entry
                    wanted[entry.id] += 1
                    evidence[entry.id] += entry.evidence is not None
        with LineRecord(self.address) as line:
            changed = sum(recorded.get(entry.id, entry) != entry for entry in line.find(Query()))
        with psycopg.connect(self.address) as connection:
            ids = "SELECT journal || '-' || seq FROM steadyohm."
            found = Counter(row[0] for row in connection.execute(ids + "entry"))
            kept = Counter(row[0] for row in connection.execute(ids + "evidence"))
            rejected = connection.execute("SELECT count(*) FROM steadyohm.rejected").fetchone()[0]
            waiting = connection.execute("SELECT count(*) FROM steadyohm.arrival").fetchone()[0]
        return {
            "entries": len(wanted),
            "verdicts": sum(entry.kind == "verdict" for entry in recorded.values()),
            "changed": changed,
            "lost": len(wanted - found),
            "twice": sum(found.values()) - len(found),
            "strange": len(found - wanted),
            "evidence": len(+evidence),
            "evidence_lost": len(+evidence - kept),
            "evidence_twice": sum(kept.values()) - len(kept),
            "rejected": rejected,
            "behind_gaps": waiting,
            "sent_again": self.again,
        }


def table(figures):
    """Lines for people."""
    kills = ", ".join(f"{count} {what}" for what, count in sorted(figures["kills"].items()))
    yield f"kill -9:                      {kills}"
    yield f"entries in all journals:      {figures['entries']}, of them {figures['verdicts']} verdicts"
    yield f"in the database exactly once: {figures['entries'] - figures['lost'] - figures['twice']}"
    yield (
        f"lost: {figures['lost']}   twice: {figures['twice']}   changed: {figures['changed']}"
        f"   from nowhere: {figures['strange']}"
    )
    yield f"evidence lost: {figures['evidence_lost']}   twice: {figures['evidence_twice']}"
    yield f"rejected: {figures['rejected']}   stretches behind a gap: {figures['behind_gaps']}"
    yield f"sent again by benches:        {figures['sent_again']} (copies, which the database took once)"
    yield f"took {figures['took_s']:.0f} s"
    yield "Good: everything is there once." if good(figures) else "NOT GOOD: see above."


def good(figures):
    """Whether nothing was lost and nothing came twice."""
    zero = (
        "lost",
        "twice",
        "changed",
        "strange",
        "evidence_lost",
        "evidence_twice",
        "rejected",
        "behind_gaps",
    )
    return figures["verdicts"] == figures["evidence"] > 0 and not any(figures[name] for name in zero)


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    for name, default, kind in (
        ("benches", 50, int), ("collectors", 3, int), ("kills", 12, int), ("seconds", 40.0, float),
        ("seed", 7, int),
    ):  # fmt: skip
        options.add_argument(f"--{name}", type=kind, default=default)
    wanted = options.parse_args()
    if MOSQUITTO is None or BINARIES is None:
        sys.exit("This needs mosquitto and PostgreSQL (Debian: apt install mosquitto postgresql).")
    folder = Path(tempfile.mkdtemp(prefix="steadyohm-line-"))
    folder.chmod(0o755)
    try:
        figures = WholeLine(folder, **vars(wanted)).run()
    except KeyboardInterrupt:
        sys.exit("Broken off; nothing was compared.")
    except AssertionError as error:
        sys.exit(f"NOT GOOD: {error}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    print("\n".join(table(figures)))
    sys.exit(0 if good(figures) else 1)


if __name__ == "__main__":
    main()
