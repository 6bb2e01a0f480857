"""`steadyohm simulate`: writes a bench file for simulated instruments, then becomes the simulation.

The simulation serves a meter and a thermometer on loopback ports and lets whoever sits at this terminal be
the hands. Not for the demo, which has hands of its own (stand_in).
"""

from __future__ import annotations

import socket
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.bench_tables import LOW_OHMS_LINE
from acquire.files.new_file import new_file
from acquire.files.shipped import named, shipped
from acquire.sheets import load_sheet
from drivers.models import load_model
from drivers.reading import Quantity
from system.processes import become
from system.sockets import take_port

INCOMING = 'purpose = "incoming"                    # cores that came by mail: wide limits; '
FINAL = 'purpose = "final"                       # wound here: acceptance limits; '
"""How the line of the purpose begins: for cores that come in, and for units that this shop winds itself."""

WOUND_HERE = "Fathom 7"
"""A unit that this shop winds itself though its sheet knows limits for cores that come in."""

FIRST_HIGH, FIRST_LOW = 101, 201
"""Channels of the first pin on the simulated card's two buses; the others follow in the sheet's order."""

BENCH_METER = """[meter]                                 # a SCPI bench meter
driver = "scpi"
link = "@meter@"
model = "@model@"
four_wire_below = "10 ohm"              # Kelvin probes: low windings are measured with four wires
integration_plc = 1.0                   # one period of the mains a conversion: quick, and hum averages out
"""
HAND_METER = """[meter]                                 # a meter that sends lines such as "202.5 ohm"
driver = "lines"
link = "@meter@"
model = "@model@"
"""
SETTABLE_COUNTS = 100_000
"""A meter of more counts is simulated as one that is set in SCPI, any other as one that sends lines."""


@dataclass(frozen=True, slots=True)
class Simulated:
    """What is put on the simulated bench.

    Attributes:
        sheet, meter: files, as somebody named them: a path, or the name of a shipped one.
    """

    sheet: Path
    meter: Path

    @property
    def settable(self) -> bool:
        """Whether the meter is one that is set over its link."""
        lowest = load_model(self.meter).ranges_of(Quantity.RESISTANCE)[:1]
        return any(each.full_scale_si > SETTABLE_COUNTS * each.resolution_si for each in lowest)

    def words(self) -> list[str]:
        """What tells the simulation of its meter."""
        return ["--meter", str(self.meter), "--voice", "scpi" if self.settable else "lines"]

    def bench_text(self, meter: str, thermometer: str) -> str:
        """The shipped bench template with files and the addresses of the instruments filled in."""
        text = shipped("benches", "simulated.template").read_text(encoding="utf-8")
        sheet = load_sheet(self.sheet)
        wound_here = sheet.name == WOUND_HERE or not any(branch.serviceable for branch in sheet.branches)
        return (
            text.replace("@purpose@", FINAL if wound_here else INCOMING)
            .replace("@low_ohms@", "" if self.settable else LOW_OHMS_LINE)
            .replace("@meter_table@", BENCH_METER if self.settable else HAND_METER)
            .replace("@meter@", meter)
            .replace("@model@", self.meter.as_posix())
            .replace("@thermometer@", thermometer)
            .replace("@sheet@", self.sheet.as_posix())
            .replace("@wire@", shipped("wire").as_posix())
        )

    def with_fixture(self, text: str) -> str:
        """A bench file whose units are clipped into a fixture, wired as the simulation's card is."""
        sheet = load_sheet(self.sheet)
        high, low = (
            ", ".join(f"{place} = {first + k}" for k, place in enumerate(sheet.pin_names()))
            for first in (FIRST_HIGH, FIRST_LOW)
        )
        table = f"[fixture]{'':31}# a switch card in place of hands\nhigh = {{ {high} }}\nlow = {{ {low} }}\n"
        return f"{text}\n{table}separate_contacts = true\n"


def simulated(sheet: str, meter: str) -> Simulated:
    """A bench from a sheet and a meter, each by its path or a shipped name.

    Raises:
        InputImpossible: there is no such file.
    """
    return Simulated(named("sheets", sheet), named("meters", meter))


def with_page(text: str) -> str:
    """A bench file with a page of its own, on a port that is free now."""
    return f"{text}\n[page]{'':34}# the bench page, for a browser\nport = {free_port(0)}\n"


def free_port(wanted: int) -> int:
    """A loopback port that can be listened on now.

    Args:
        wanted: this one; 0 takes any.

    Raises:
        SteadyohmError: it is taken.
    """
    with socket.socket() as probe:
        take_port(probe)
        try:
            probe.bind(("127.0.0.1", wanted))
        except OSError as error:
            raise SteadyohmError(
                f"Port {wanted} cannot be listened on ({error.strerror}).", "Choose another with --port."
            ) from error
        return int(probe.getsockname()[1])


def become_simulation(
    bench: Simulated, bench_file: Path, *, faults: Sequence[str], pace: str, port: int, seed: int
) -> None:
    """Write the bench file and replace this process by the simulation.

    Args:
        bench: what is put on it.
        bench_file: to write.
        faults: of the units that come, in turn.
        pace: of the hands.
        port: of the meter.
        seed: of units and meter.

    Raises:
        SteadyohmError, InputImpossible: the port is taken, or the file cannot be written.
    """
    meter_port, air_port = free_port(port), free_port(0)
    text = bench.bench_text(f"tcp:127.0.0.1:{meter_port}", f"tcp:127.0.0.1:{air_port}")
    if bench_file.exists() and not bench_file.is_file():  # a pipe that nobody reads would hold up the start
        raise InputImpossible(f"{bench_file} is no file.", "Name one with --bench.")
    with new_file(bench_file) as file:
        file.write(with_page(text).encode())
    print(f"In a second terminal:  steadyohm run {bench_file}", flush=True)  # noqa: T201  (its one line of output)
    words = ["--hands", "typed", "--brief", "--sheet", str(bench.sheet), "--seed", str(seed), "--pace", pace]
    words += [*bench.words(), *(f"--fault={fault}" for fault in faults)]
    words += ["--meter-port", str(meter_port), "--thermometer", "tcp", "--thermometer-port", str(air_port)]
    become([sys.executable, "-P", "-m", "sim", *words])
