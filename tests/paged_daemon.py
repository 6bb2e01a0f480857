"""The real daemon with its page before a simulated bench, for tests without a browser. Not a test itself."""

from __future__ import annotations

import contextlib

from tests.page_client import Ear, until_served
from tests.whole_bench import (
    CONFIGS,
    bench_file,
    free_port,
    lift,
    running,
    simulated,
)

SHEET = str(CONFIGS / "sheets" / "plover-80.toml")


class Bench:
    """A simulated bench with its page: two steps of the sheet, that is enough of a unit."""

    def __init__(self, sim, daemon, port, file):
        self.sim, self.daemon, self.port, self.file = sim, daemon, port, file

    def touch(self, *pins):
        self.sim.type(" ".join(pins))
        self.sim.until("probes on")

    def lift(self):
        lift(self.sim)


def page_file(folder, meter_port, page_port, more=""):
    """A bench file with a page, and a sheet of its own with two steps."""
    head, *steps = (CONFIGS / "sheets" / "plover-80.toml").read_text(encoding="utf-8").split("[[step]]")
    (folder / "sheet.toml").write_text("[[step]]".join([head, *steps[:2]]), encoding="utf-8")
    file = bench_file(folder, meter=f"tcp:127.0.0.1:{meter_port}", changes=[(SHEET, "sheet.toml")])
    with file.open("a", encoding="utf-8") as text:
        text.write(f"\n[page]\nport = {page_port}\n{more}")
    return file


@contextlib.contextmanager
def paged(folder, more="", speed=16.0):
    """Simulation and daemon, each a process."""
    meter_port, page_port = free_port(), free_port()
    file = page_file(folder, meter_port, page_port, more)
    with simulated(meter_port, speed=speed) as sim, running(file) as daemon:
        until_served(page_port, daemon=daemon)
        yield Bench(sim, daemon, page_port, file)


@contextlib.contextmanager
def heard(port):
    """One page."""
    ear = Ear(port)
    try:
        yield ear
    finally:
        ear.close()


@contextlib.contextmanager
def lonely(folder, more="", **options):
    """A daemon with a page whose meter does not answer."""
    page_port = free_port()
    file = page_file(folder, free_port(), page_port, more)
    with running(file, **options) as daemon:
        until_served(page_port, daemon=daemon)
        yield page_port, daemon
