"""Instruments by other people's programs: each is read through the driver that a bench would use."""

from __future__ import annotations

import asyncio
import contextlib
import os
import shutil
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from drivers.errors import FrameGarbled, LinkUnavailable, MeterRefused
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import open_meter
from tests.brokers import free_port
from tests.waiting import wait_until

pytest.importorskip("pyvisa_sim")
server = pytest.importorskip("pyModbusTCP.server")

FLOAT, COUNTS = 0x2000, 8
"""Registers of the two shipped Modbus profiles."""

METER = """
spec: "1.1"
devices:
  bench:
    eom:
      USB INSTR: {q: "\\n", r: "\\n"}
    error: ERROR
    dialogues:
      - {q: "*IDN?", r: "Invented,PV-1,7,0.1"}
      - {q: "*OPC?", r: "1"}
      - {q: "SYST:ERR?", r: '0,"No error"'}
      - {q: "CONF:RES 220", r: null}
      - {q: "CONF?", r: '"RES +1.000000E+03,+1.000000E-03"'}
      - {q: "READ?", r: "%s"}
resources:
  USB::0x1111::0x2222::0x7::INSTR: {device: bench}
"""


def simulated(tmp_path, answer):
    """A meter behind pyvisa-sim, which shares no code with us."""
    file = tmp_path / "meter.yaml"
    file.write_text((METER % answer).replace("r: null", "r:"))
    address = f"visa:USB::0x1111::0x2222::0x7::INSTR?backend={file}@sim"
    return open_meter(
        "scpi", meter_id="m", address=address, clock=lambda: (time.monotonic(), time.time()),
        options={"quiet_s": 0.05, "reply_timeout_s": 1.0},
    )  # fmt: skip


async def read(meter, count):
    """The first readings."""
    found = []
    stream = meter.readings()
    async for reading in stream:
        found.append(reading)
        if len(found) == count:
            break
    await stream.aclose()
    return found


@pytest.mark.parametrize(
    ("answer", "kind", "ohm"),
    [
        ("+2.02570000E+02", Kind.VALUE, 202.57),
        ("+0.2025700E+00 kOHM", Kind.VALUE, 202.57),
        ("+9.90000000E+37", Kind.OVERLOAD, None),
    ],
)
async def test_a_meter_behind_another_visa_library_is_read(tmp_path, answer, kind, ohm):
    async with simulated(tmp_path, answer) as meter:
        assert (await meter.identity()).model == "PV-1"
        held = await meter.configure(Setup(Quantity.RESISTANCE, 220.0))
        readings = await read(meter, 3)
    assert held.range_full_scale_si == 1000.0
    assert {(each.kind, each.value_si) for each in readings} == {(kind, ohm)}


async def test_what_it_says_beside_a_number_is_refused_and_shown(tmp_path):
    """A status behind a comma is not cut off."""
    heard = []
    async with simulated(tmp_path, "+2.0E+02,+0") as meter:
        meter.unread = lambda raw, why: heard.append((raw, why))
        await meter.configure(Setup(Quantity.RESISTANCE, 220.0))
        with pytest.raises(FrameGarbled, match="2 fields instead of 1"):
            await read(meter, 1)
    assert heard[0][0] == b"+2.0E+02,+0"


# ---------------------------------------------------------------------- SCPI, by scpipy

PARSED = """
import sys
from scpipy.server import Router, Server

meter, held = Router(), {"function": "RES", "range": 1000.0}

@meter.register("*IDN?")
def who(context):
    return "Invented,SP-1,7,0.1"

for name, short in (("RESistance", "RES"), ("FRESistance", "FRES")):
    def configured(context, expected: str, short=short):
        held.update(function=short, range=10.0 ** len(str(int(float(expected)))))

    def ignored(context, value: str):
        pass

    meter.add_route(f"CONFigure:{name} <expected>", configured)
    meter.add_route(f"SENSe:{name}:NPLCycles <value>", ignored)

@meter.register("CONFigure?")
def conf(context):
    return f'"{held["function"]} {held["range"]:+.6E},{held["range"] / 1e6:+.6E}"'

@meter.register("READ?")
def read(context):
    return sys.argv[2]

server = Server("127.0.0.1", int(sys.argv[1]))
server.include_router(meter)
server.run()
"""


@contextlib.contextmanager
def parsed(answer):
    """A meter whose commands go through somebody else's SCPI parser, error queue and status system."""
    port = free_port()
    with subprocess.Popen([sys.executable, "-c", PARSED, str(port), answer]) as peer:
        try:
            yield open_meter(
                "scpi", meter_id="m", address=f"tcp:127.0.0.1:{port}",
                clock=lambda: (time.monotonic(), time.time()),
                options={"quiet_s": 0.05, "reply_timeout_s": 1.0, "compensation": ""},
            )  # fmt: skip
        finally:
            peer.kill()


async def entered(meter):
    """Open a meter as soon as it listens, as a bench does."""
    deadline = time.monotonic() + 30.0
    while True:
        try:
            return await meter.__aenter__()
        except LinkUnavailable:
            assert time.monotonic() < deadline
            await asyncio.sleep(0.05)


@pytest.mark.parametrize("quantity", [Quantity.RESISTANCE, Quantity.RESISTANCE_4W])
async def test_a_meter_behind_another_scpi_parser_is_set_and_read(quantity):
    """Long and short forms, its own error queue."""
    with parsed("+2.02570000E+02") as meter:
        await entered(meter)
        assert (await meter.identity()).model == "SP-1"
        held = await meter.configure(Setup(quantity, 220.0, integration_plc=1.0))
        assert held.range_full_scale_si == 1000.0
        readings = await read(meter, 3)
        await meter.__aexit__(None, None, None)
    assert {(each.quantity, each.value_si) for each in readings} == {(quantity, 202.57)}


async def test_what_another_scpi_parser_refuses_is_told_with_its_words():
    """It has no diode test: -110 by SCPI-1999, 21.8.9."""
    with parsed("+1") as meter:
        await entered(meter)
        with pytest.raises(MeterRefused, match="Command header error"):
            await meter.configure(Setup(Quantity.DIODE))
        await meter.__aexit__(None, None, None)


@pytest.mark.parametrize(("answer", "why"), [("2.0E+02,4", "2 fields"), ("0.2 MOM", "MOM"), ("--", "--")])
async def test_an_answer_that_another_scpi_server_lets_through_is_refused_whole(answer, why):
    """Nothing is cut off to make it fit."""
    with parsed(answer) as meter:
        await entered(meter)
        await meter.configure(Setup(Quantity.RESISTANCE, 220.0))
        with pytest.raises(FrameGarbled, match=why):
            await read(meter, 1)
        await meter.__aexit__(None, None, None)


# ---------------------------------------------------------------------- Modbus, by libmodbus in C

CFLAGS = ["-I/usr/include/modbus", "-lmodbus"]
needs_libmodbus = pytest.mark.skipif(
    not (shutil.which("cc") and Path("/usr/include/modbus/modbus.h").exists())
    and not os.environ.get("STEADYOHM_REQUIRE_PEERS"),
    reason="no C compiler or no libmodbus-dev: the instrument in C is left out",
)


@pytest.fixture(scope="module")
def instrument(tmp_path_factory):
    """An instrument in C, compiled here."""
    program = tmp_path_factory.mktemp("c") / "registers"
    source = Path(__file__).resolve().parents[1] / "data" / "peers" / "registers.c"
    subprocess.run(["cc", "-o", program, source, *CFLAGS], check=True)
    return program


@contextlib.contextmanager
def in_c(program, how, first, words):
    """The instrument at work over TCP, or on a serial line with a CRC of its own; gives its address."""
    with contextlib.ExitStack() as stack:
        where, address = str(free_port()), ""
        if how == "rtu":
            link = Path(stack.enter_context(tempfile.TemporaryDirectory()))
            ends = [link / "theirs", link / "ours"]
            line = subprocess.Popen(["socat", *(f"pty,raw,echo=0,link={end}" for end in ends)])
            stack.enter_context(line)
            stack.callback(line.kill)
            wait_until(lambda: all(end.exists() for end in ends))
            where, address = str(ends[0]), f"serial:{ends[1]}?baud=9600"
        peer = subprocess.Popen(
            [program, how, where, f"{first:x}", *(f"{word:x}" for word in words)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        stack.enter_context(peer)
        stack.callback(peer.kill)
        assert peer.stdout.readline() == b"ready\n"
        yield address or f"tcp:127.0.0.1:{where}"


@needs_libmodbus
@pytest.mark.parametrize("how", ["tcp", "rtu"])
@pytest.mark.parametrize(
    ("number", "meant"),
    [(0.20257, (Kind.VALUE, pytest.approx(0.20257, rel=1e-7))), (1e30, (Kind.OVERLOAD, None))],
)
async def test_floats_in_the_registers_of_libmodbus_are_read(instrument, how, number, meant):
    channel = {"quantity": "resistance_4w", "address": FLOAT, "overload_values": [1e30]}
    words = struct.unpack(">HH", struct.pack(">f", number))
    with in_c(instrument, how, FLOAT, words) as address:
        async with register_meter(address, channels=[channel]) as meter:
            (reading,) = await read(meter, 1)
            assert (reading.kind, reading.value_si) == meant


@needs_libmodbus
@pytest.mark.parametrize("how", ["tcp", "rtu"])
async def test_an_exception_of_libmodbus_is_said_in_words(instrument, how):
    with in_c(instrument, how, FLOAT, [1, 2]) as address:
        channel = {"quantity": "resistance", "address": FLOAT + 2}
        async with register_meter(address, channels=[channel]) as meter:
            with pytest.raises(MeterRefused, match="it has no register of this address"):
                await read(meter, 1)


# ---------------------------------------------------------------------- Modbus, by pyModbusTCP


@contextlib.contextmanager
def registers():
    """An instrument with a table of registers; gives its address and the table."""
    bank = server.DataBank(h_regs_size=FLOAT + 2)
    instrument = server.ModbusServer("127.0.0.1", 0, no_block=True, data_bank=bank)
    instrument.start()
    try:
        yield f"tcp:127.0.0.1:{instrument._service.server_address[1]}", bank
    finally:
        instrument.stop()


def register_meter(address, **options):
    return open_meter(
        "modbus", meter_id="m", address=address, clock=lambda: (time.monotonic(), time.time()),
        options={"poll_s": 0.0, **options},
    )  # fmt: skip


async def read_next(meter, bank, address, words):
    """What is read after the registers were set."""
    bank.set_holding_registers(address, list(words))
    (reading,) = await read(meter, 1)
    return reading.kind, reading.value_si


@pytest.mark.parametrize(
    ("number", "meant"),
    [
        (0.20257, (Kind.VALUE, pytest.approx(0.20257, rel=1e-7))),
        (9.9e37, (Kind.OVERLOAD, None)),
        (1e30, (Kind.OVERLOAD, None)),  # no float32; the register holds the nearest one
        (float("nan"), (Kind.NO_READING, None)),
    ],
)
async def test_floats_in_the_registers_of_another_modbus_library_are_read(number, meant):
    channel = {"quantity": "resistance_4w", "address": FLOAT, "overload_values": [1e30]}
    with registers() as (address, bank):
        async with register_meter(address, channels=[channel]) as meter:
            words = struct.unpack(">HH", struct.pack(">f", number))
            assert await read_next(meter, bank, FLOAT, words) == meant


async def test_whole_numbers_in_the_registers_of_another_modbus_library_are_read():
    """As the shipped profile of insulation testers has them."""
    with registers() as (address, bank):
        async with register_meter(address, profile="kilohm_insulation") as meter:
            assert await read_next(meter, bank, COUNTS, [1234]) == (Kind.VALUE, 1_234_000.0)
            assert await read_next(meter, bank, COUNTS, [65535]) == (Kind.OVERLOAD, None)


async def test_an_exception_of_the_instrument_is_said_in_words():
    with registers() as (address, _):
        channel = {"quantity": "resistance", "address": FLOAT + 2}
        async with register_meter(address, channels=[channel]) as meter:
            with pytest.raises(MeterRefused, match="it has no register of this address"):
                await read(meter, 1)
