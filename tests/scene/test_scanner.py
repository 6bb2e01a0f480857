"""A barcode scanner puts units on the bench: unplugged, replugged, refused codes, the same twice."""

from __future__ import annotations

import contextlib
import os
import time
import tty
from pathlib import Path

import pytest

from tests.commanded import commanded
from tests.waiting import wait_until
from tests.whole_bench import bench_file, free_port, journal_entries, lift, running, simulated

SAME_AGAIN_S = 1.5
"""Longer than one label under one press of the trigger counts once."""


def opened_by(pid):
    """What a process has open; one that closes meanwhile is passed over."""
    opened = set()
    for link in Path(f"/proc/{pid}/fd").iterdir():
        with contextlib.suppress(OSError):
            opened.add(os.path.realpath(link, strict=True))
    return opened


class Gun:
    """A scanner on a pty behind a name that stays, as by-id names do."""

    def __init__(self, folder):
        self.name = folder / "scanner"
        self.plug_in()

    def plug_in(self):
        """Give the name a port."""
        self.controller, self.terminal = os.openpty()
        tty.setraw(self.terminal)
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(self.terminal))

    def pull_out(self):
        """Take both away."""
        self.name.unlink(missing_ok=True)
        os.close(self.controller)
        os.close(self.terminal)

    def until_open_in(self, pid):
        """Wait until that process listens: what a scanner sends before is thrown away with the old noise."""
        port = os.ttyname(self.terminal)
        wait_until(lambda: port in opened_by(pid), why="the scanner was never opened")
        time.sleep(1.0)  # from opening it to throwing the noise away: nothing outside shows that

    def reads(self, label, end="\r\n"):
        """Pull the trigger."""
        os.write(self.controller, f"{label}{end}".encode())


@pytest.fixture
def gun(tmp_path):
    """A scanner that is plugged in."""
    held = Gun(tmp_path)
    yield held
    held.pull_out()


def with_scanner(folder, meter, *, link, options=""):
    """A bench file with a scanner."""
    table = f'[scanner]\nlink = "{link}"\n{options}\n\n[csv]'
    return bench_file(folder, meter=meter, changes=(("[csv]", table),))


def test_a_scanned_label_puts_a_unit_on_the_bench(tmp_path, gun):
    """A code of another job is refused, a double read counts once, a replug is survived."""
    port = free_port()
    file = with_scanner(
        tmp_path,
        f"tcp:127.0.0.1:{port}",
        link=f"serial:{gun.name}?baud=9600",
        options='options = { pattern = "P80-[0-9]{4}", same_again_s = 1.0 }',
    )
    with simulated(port) as sim, running(file) as bench:
        gun.until_open_in(bench.process.pid)
        gun.reads("]C1P80-0001")
        bench.until("Unit P80-0001")
        bench.until("Hold the probes together")
        gun.reads("]C1P80-0001")
        gun.reads("P80-0001P80-0002")
        assert "does not look like a code of this job" in bench.until("That scan is not taken")
        sim.type("short")
        bench.until("zeroed")
        lift(sim)
        sim.type("1 2")
        bench.until("● pass")
        lift(sim)  # or the pair is judged again, and the question below is stale
        gun.pull_out()
        bench.until("The scanner gives no codes")
        gun.plug_in()
        bench.until("The scanner is back")
        gun.until_open_in(bench.process.pid)
        gun.reads("P80-0002", end="\r")
        bench.until("Scan P80-0002 once more")
        time.sleep(SAME_AGAIN_S)
        gun.reads("P80-0002", end="\r")
        bench.until("Unit P80-0002")
        code, output = bench.end()
    assert code == 0, output
    assert "is on the bench already" not in output
    started = [entry.payload["serial"] for entry in journal_entries(tmp_path, "unit_started")]
    assert started == ["P80-0001", "P80-0002"]


def test_a_bench_whose_scanner_is_missing_goes_on_by_the_keyboard(tmp_path):
    """It says so once, names what is missing, and takes what is typed."""
    port = free_port()
    file = with_scanner(tmp_path, f"tcp:127.0.0.1:{port}", link="keyboard:/dev/input/by-id/none-event-kbd")
    with simulated(port), running(file) as bench:
        said = bench.until("The scanner gives no codes")
        assert "none-event-kbd" in said
        bench.type("P80-0001")
        bench.until("Unit P80-0001")
        code, output = bench.end()
    assert code == 0
    assert output.count("The scanner gives no codes") == 1


@pytest.mark.parametrize(
    ("options", "said"),
    [('options = { pattern = "P80-[" }', "is not a regular expression"), ("speed = 9600", "not known here")],
)
def test_a_faulty_table_is_refused_by_line(tmp_path, options, said):
    """With exit code 2, before anything starts."""
    file = with_scanner(tmp_path, "tcp:127.0.0.1:9", link="serial:/dev/ttyUSB9", options=options)
    done = commanded("check", file)
    assert done.returncode == 2
    assert said in done.stdout + done.stderr
    assert "scanner" in done.stdout + done.stderr
