"""Instruments by other people's programs: each is read through the driver that a bench would use."""

from __future__ import annotations

import contextlib
import struct
import time

import pytest

from drivers.errors import FrameGarbled, MeterRefused
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import open_meter

pytest.importorskip("pyvisa_sim")
server = pytest.importorskip("pyModbusTCP.server")

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


# ---------------------------------------------------------------------- Modbus, by pyModbusTCP

FLOAT, COUNTS = 0x2000, 8
"""Registers of the two shipped profiles."""


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
