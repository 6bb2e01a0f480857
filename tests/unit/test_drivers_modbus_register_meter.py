"""Modbus instruments against pymodbus's own server, and against a line that damages and delays."""

from __future__ import annotations

import asyncio
import json
import os
import struct
import time
import tty
from pathlib import Path

import pytest
from pymodbus import FramerType
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.errors import LinkTimeout, MeterRefused
from drivers.meter import Meter, Setup
from drivers.modbus.exchange import Exchange, RegisterChannel, number_of, value_of
from drivers.modbus.register_meter import RegisterMeter, RegisterMeterOptions
from drivers.reading import Kind, Origin, Quantity

FRAMES = json.loads((Path(__file__).parent.parent / "data" / "frames.json").read_text(encoding="utf-8"))[
    "frames"
]
VECTORS = [frame for frame in FRAMES if frame["protocol"] == "modbus_rtu"]


def clock():
    return time.monotonic(), time.time()


class OneAnswer:
    """A channel that answers whatever is asked with one frame."""

    address = "recorded:"

    def __init__(self, answer):
        self.answer = answer
        self.asked = b""

    async def write(self, data, deadline_s):
        self.asked = data

    async def read_some(self, deadline_s):
        if not self.answer:
            raise LinkTimeout("silent", port=self.address)
        answer, self.answer = self.answer, b""
        return answer

    async def drain(self, quiet_s):
        return b""


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["id"])
async def test_frames_printed_in_manuals_are_asked_for_and_read_alike(vector):
    """The requests, too, must come out byte for byte, checksum included."""
    request = bytes.fromhex(vector["request"])
    unit_id, function, address, count = struct.unpack(">BBHH", request[:6])
    channel = OneAnswer(bytes.fromhex(vector["hex"]))
    exchange = Exchange(channel, "rtu", 0.1)
    table = "holding" if function == 3 else "input"
    error = vector.get("error") or ""
    if error:
        with pytest.raises(MeterRefused if "exception" in error else LinkTimeout):
            await exchange.read(table, unit_id, address, count)
        assert channel.asked == request
        return
    registers, raw = await exchange.read(table, unit_id, address, count)
    assert (channel.asked, raw) == (request, bytes.fromhex(vector["hex"]))
    order = vector["word_order"]
    form = "u16" if order == "u16" else "float32"
    scale = {"insulation": 1000.0 if form == "u16" else 1e6}.get(vector["function"], 1.0)
    described = RegisterChannel(
        quantity=Quantity.INSULATION,
        address=address,
        form=form,
        scale=scale,
        order="ABCD" if form == "u16" else order,
        overload_values=(65535,) if form == "u16" else (),
    )
    kind, value_si = value_of(described, registers)
    if vector["overload"]:
        assert kind is Kind.OVERLOAD
    elif vector["value"] is None:
        assert kind is Kind.NO_READING
    else:
        assert value_si == pytest.approx(vector["value"], rel=1e-6)


def test_whole_numbers_of_every_form_are_read():
    assert number_of([0x8000], "s16", "ABCD") == -32768
    assert number_of([0x0001, 0x0002], "u32", "ABCD") == 65538
    assert number_of([0x0002, 0x0001], "u32", "CDAB") == 65538
    assert number_of([0xFFFF, 0xFFFE], "s32", "ABCD") == -2
    with pytest.raises(ValueError, match="do not make a float32"):
        number_of([1], "float32", "ABCD")


def options(**changes):
    channels = (
        {"quantity": "resistance_4w", "address": 0x2000, "resolution_si": 1e-6},
        {"quantity": "insulation", "address": 8, "form": "u16", "scale": 1000.0, "overload_values": (65535,)},
        {"quantity": "temperature", "table": "input", "address": 9000},
    )
    return RegisterMeterOptions(**{"channels": channels, "poll_s": 0.01, "reply_timeout_s": 0.3, **changes})


@pytest.fixture(params=["tcp", "rtu"])
async def server(request):
    """pymodbus's own server, with both framings over TCP."""
    data = [
        SimData(8, values=80, datatype=DataType.REGISTERS),
        SimData(100, values=0, datatype=DataType.REGISTERS),
        SimData(0x2000, values=10.47, datatype=DataType.FLOAT32),
    ]
    framer = FramerType.SOCKET if request.param == "tcp" else FramerType.RTU
    running = ModbusTcpServer(SimDevice(1, simdata=data), framer=framer, address=("127.0.0.1", 0))
    await running.serve_forever(background=True)
    port = running.transport.sockets[0].getsockname()[1]
    yield request.param, f"tcp:127.0.0.1:{port}"
    await running.shutdown()


async def take(meter, count):
    taken = []
    stream = meter.readings()
    async for reading in stream:
        taken.append(reading)
        if len(taken) == count:
            break
    await stream.aclose()
    return taken


async def test_an_independent_server_is_read_with_either_framing(server):
    framing, address = server
    meter = RegisterMeter(meter_id="m", address=address, clock=clock, options=options(framing=framing))
    assert isinstance(meter, Meter)
    for _ in range(2):
        async with meter:
            held = await meter.configure(Setup(Quantity.RESISTANCE_4W))
            assert (held.resolution_si, held.origin) == (1e-6, Origin.INFERRED)
            first, second = await take(meter, 2)
            assert first.value_si == pytest.approx(10.47, rel=1e-7)
            assert (first.conversion, second.conversion) == (1, 2)
            await meter.configure(Setup(Quantity.INSULATION))
            (insulation,) = await take(meter, 1)
            assert (insulation.value_si, insulation.quantity) == (80_000.0, Quantity.INSULATION)


async def test_a_register_that_is_not_there_is_said_in_words(server):
    framing, address = server
    async with RegisterMeter(
        meter_id="m", address=address, clock=clock, options=options(framing=framing)
    ) as meter:
        await meter.configure(Setup(Quantity.TEMPERATURE))
        with pytest.raises(MeterRefused, match="no register of this address"):
            await take(meter, 1)
        with pytest.raises(MeterRefused, match="none of its registers holds diode"):
            await meter.configure(Setup(Quantity.DIODE))


GOOD = bytes.fromhex("01 03 04 41 27 85 1f 7d 5c")  # 10.47
OTHER = bytes.fromhex("01 03 04 42 c8 00 00 6f b5")  # 100.0


async def test_on_a_real_line_a_late_or_damaged_answer_is_not_believed():
    master, slave = os.openpty()
    tty.setraw(slave)

    def play():
        os.read(master, 8)
        time.sleep(0.4)  # answers after the timeout of 0.25 s
        os.write(master, OTHER)
        os.read(master, 8)  # this answer is thrown away
        os.write(master, GOOD)
        os.read(master, 8)
        os.write(master, GOOD[:3])
        time.sleep(0.02)
        os.write(master, GOOD[3:])
        os.read(master, 8)
        os.write(master, GOOD[:5] + b"\x00" + GOOD[6:])  # damaged
        for _ in range(2):
            os.read(master, 8)
            os.write(master, GOOD)

    playing = asyncio.create_task(asyncio.to_thread(play))
    meter = RegisterMeter(
        meter_id="m",
        address=f"serial:{os.ttyname(slave)}",
        clock=clock,
        options=options(reply_timeout_s=0.25),
    )
    async with meter:
        readings = await take(meter, 2)
    await playing
    os.close(master)
    os.close(slave)
    assert [r.value_si for r in readings] == [pytest.approx(10.47, rel=1e-6)] * 2


def test_a_sentinel_is_met_as_a_32_bit_float_holds_it_and_a_whole_number_to_the_count():
    """1e30 comes back as 1.0000000150474662e30 and was read as a value; 32766 is none of 32767."""
    real = RegisterChannel(quantity=Quantity.RESISTANCE, address=0, overload_values=(1e30,))
    high, low = struct.unpack(">HH", struct.pack(">f", 1e30))
    assert value_of(real, [high, low]) == (Kind.OVERLOAD, None)
    whole = RegisterChannel(quantity=Quantity.RESISTANCE, address=0, form="s16", overload_values=(32767,))
    assert value_of(whole, [32767]) == (Kind.OVERLOAD, None)
    assert value_of(whole, [32766]) == (Kind.VALUE, 32766.0)
