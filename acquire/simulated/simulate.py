"""`steadyohm simulate`: writes a bench file for simulated instruments, then becomes the simulation.

The simulation serves a meter and a thermometer on loopback ports and lets whoever sits at this terminal be
the hands. Not for the demo, which has hands of its own (stand_in).
"""

from __future__ import annotations

import socket
import sys
from pathlib import Path

from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.shipped import shipped
from acquire.sheets import load_sheet
from system.processes import become
from system.sockets import take_port

SHEETS = {"plover-80": "plover-80.toml", "quern-12": "quern-12.toml", "fathom-7": "fathom-7.toml"}
"""Sheet that goes with each scene."""

INCOMING = 'purpose = "incoming"                    # cores in the post: wide limits; '
FINAL = 'purpose = "final"                       # wound here: acceptance limits; '
"""How a line of the shipped template begins, and how it begins for units that this shop winds itself."""

FIRST_HIGH, FIRST_LOW = 101, 201
"""Channels of the first pin on the simulated card's two buses; the others follow in the sheet's order."""

WOUND_HERE = frozenset({"fathom-7"})
"""Scenes of units that this shop winds itself: acceptance limits, and spool cards to compare with."""


def bench_text(meter: str, thermometer: str, scene: str = "plover-80") -> str:
    """The shipped bench template with addresses and shipped files filled in."""
    text = shipped("benches", "simulated.template").read_text(encoding="utf-8")
    if scene in WOUND_HERE:
        text = text.replace(INCOMING, FINAL)
    return (
        text.replace("@meter@", meter)
        .replace("@thermometer@", thermometer)
        .replace("@sheet@", (shipped("sheets") / SHEETS[scene]).as_posix())
        .replace("@wire@", shipped("wire").as_posix())
        .replace("@meters@", shipped("meters").as_posix())
    )


def with_page(text: str) -> str:
    """A bench file with a page of its own, on a port that is free now."""
    return f"{text}\n[page]{'':34}# the bench page, for a browser\nport = {free_port(0)}\n"


def with_fixture(text: str, scene: str) -> str:
    """A bench file whose units are clipped into a fixture, wired as the simulation's card is."""
    sheet = load_sheet(shipped("sheets") / SHEETS[scene])
    places = dict.fromkeys([*(pin.name for pin in sheet.pins), *([sheet.core] if sheet.core else [])])
    high, low = (
        ", ".join(f"{place} = {first + k}" for k, place in enumerate(places))
        for first in (FIRST_HIGH, FIRST_LOW)
    )
    table = f"[fixture]{'':31}# a switch card in place of hands\nhigh = {{ {high} }}\nlow = {{ {low} }}\n"
    return f"{text}\n{table}separate_contacts = true\n"


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


def become_simulation(scene: str, bench_file: Path, port: int, seed: int) -> None:
    """Write the bench file and replace this process by the simulation.

    Raises:
        InputImpossible: no such scene.
        SteadyohmError: the port is taken, or the file cannot be written.
    """
    if scene not in SHEETS:
        raise InputImpossible(f'There is no scene "{scene}".', f"There are {', '.join(SHEETS)}.")
    meter_port, air_port = free_port(port), free_port(0)
    text = bench_text(f"tcp:127.0.0.1:{meter_port}", f"tcp:127.0.0.1:{air_port}", scene)
    try:
        bench_file.write_text(with_page(text), encoding="utf-8")
    except OSError as error:
        raise SteadyohmError(f"{bench_file} cannot be written ({error.strerror}).") from error
    print(f"In a second terminal:  steadyohm run {bench_file}", flush=True)  # noqa: T201  (its one line of output)
    words = ["--hands", "typed", "--brief", "--scene", scene, "--seed", str(seed)]
    words += ["--meter-port", str(meter_port), "--thermometer", "tcp", "--thermometer-port", str(air_port)]
    become([sys.executable, "-P", "-m", "sim", *words])
