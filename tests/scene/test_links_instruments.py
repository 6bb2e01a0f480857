"""VISA resources of instruments: HiSLIP, VXI-11, GPIB behind a "++" adapter, served by the simulation.

The peers are own code from the specifications (IVI-6.1, VXI-11, RFC 5531, RFC 1833); the client is pyvisa-py.
GPIB and USB by name go through pyvisa-sim, whose peer is somebody else's.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import time
from dataclasses import replace

import pytest

from drivers.errors import LinkTimeout, LinkUnavailable, MeterError
from drivers.link.address import parse_address
from drivers.link.opening import channel_for
from drivers.link.visa import VisaChannel, adapter_resource
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.scpi.bench_meter import BenchMeter
from drivers.scpi.dialect import BenchMeterOptions
from tests.waiting import PATIENCE_S, crowding

LINKS = ("hislip", "gpib-adapter", "vxi11")


@contextlib.asynccontextmanager
async def bench(link):
    """A simulated bench in a process of its own; gives the meter's address."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", "tests.message_links", "--meter-link", link, "--thermometer", "tcp",
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
    )  # fmt: skip
    try:
        line = await asyncio.wait_for(process.stdout.readline(), PATIENCE_S)
        if not line:
            words = (await process.stderr.read()).decode()
            if "Permission" in words or "in use" in words:
                pytest.skip(f"port 111 cannot be had here: {words.strip()}")
            pytest.fail(words)
        yield json.loads(line)["address"]["meter"], process
    finally:
        if process.returncode is None:
            process.terminate()
        await process.wait()
        process._transport.close()


def clock():
    return time.monotonic(), time.time()


def meter_at(address):
    return BenchMeter(
        meter_id="m",
        address=address,
        clock=clock,
        options=BenchMeterOptions(reply_timeout_s=10.0, quiet_s=0.02),
    )


@pytest.mark.parametrize("link", LINKS)
async def test_a_bench_meter_is_set_up_and_read(link):
    """Probes in the air: the settings hold, and every reading is an overload, by value."""
    async with bench(link) as (address, _), meter_at(address) as meter:
        assert (await meter.identity()).raw
        held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=50.0))
        stream = meter.readings()
        readings = [await anext(stream) for _ in range(5)]
        await stream.aclose()
    assert held.range_full_scale_si == 100.0
    assert {reading.kind for reading in readings} == {Kind.OVERLOAD}


@pytest.mark.parametrize("link", LINKS)
async def test_silence_ends_on_time_and_the_next_question_gets_its_own_answer(link):
    """No late answer is taken for another's."""
    async with bench(link) as (address, _):
        channel = channel_for(address)
        await channel.open()
        started_s = time.monotonic()
        with pytest.raises(LinkTimeout):
            await channel.read_some(0.3)
        assert time.monotonic() - started_s < 1.0 * crowding()
        await channel.drain(0.05)
        await channel.write(b"*IDN?\n", 10.0)
        first = await channel.read_some(10.0)
        await channel.write(b"*OPC?\n", 10.0)
        assert (await channel.read_some(10.0)).strip() in (b"1", b"+1")
        assert first.count(b",") == 3
        await channel.close()


async def asked_twice(channel):
    """The first question may still go out; the second cannot."""
    for _ in range(2):
        await channel.write(b"*IDN?\n", 1.0)
        await channel.read_some(1.0)


@pytest.mark.parametrize("link", LINKS)
async def test_an_instrument_that_dies_is_an_error_of_the_link_and_no_hang(link):
    """Within the deadline and a second; no processor spins."""
    async with bench(link) as (address, process):
        channel = channel_for(address)
        await channel.open()
        await channel.write(b"*IDN?\n", 10.0)
        await channel.read_some(10.0)
        process.kill()
        await process.wait()
        cpu_s, started_s = time.process_time(), time.monotonic()
        with pytest.raises(MeterError):
            await asked_twice(channel)
        assert time.monotonic() - started_s < 5.0 * crowding()
        assert time.process_time() - cpu_s < 1.0
        await channel.close()
        with pytest.raises(LinkUnavailable):
            await channel_for(address).open()


def test_the_adapter_is_named_after_the_board_and_its_address():
    """The library finds it by the number of the board."""
    name = adapter_resource(parse_address("visa:GPIB1::5::INSTR?adapter=tcp:192.0.2.4:1234"))
    assert name == "PRLGX-TCPIP1::192.0.2.4::1234::INTFC"
    assert adapter_resource(parse_address("visa:GPIB0::5::INSTR")) == ""
    serial = adapter_resource(parse_address("visa:GPIB0::5::INSTR?adapter=serial:/dev/ttyUSB0"))
    assert serial == "PRLGX-ASRL0::/dev/ttyUSB0::INTFC"


@pytest.mark.parametrize("name", ["GPIB0::8::INSTR", "USB0::0x1111::0x2222::0x4444::INSTR"])
async def test_resources_by_message_go_through_a_peer_of_somebody_else(name, tmp_path):
    """END ends a message, with or without a line feed."""
    file = tmp_path / "peer.yaml"
    file.write_text(
        'spec: "1.1"\ndevices:\n  meter:\n    eom:\n      GPIB INSTR:\n        q: "\\n"\n        r: "\\n"\n'
        '      USB INSTR:\n        q: "\\n"\n        r: "\\n"\n    error: ERROR\n    dialogues:\n'
        '      - q: "*IDN?"\n        r: "Invented,Meter,1,2"\n      - q: "READ?"\n        r: "+2.061E+01"\n'
        f"resources:\n  {name}:\n    device: meter\n",
        encoding="utf-8",
    )
    address = parse_address(f"visa:{name}")
    channel = VisaChannel(replace(address, backend=f"{file}@sim"), address.line)
    await channel.open()
    await channel.write(b"*IDN?\n", 10.0)
    assert await channel.read_some(10.0) == b"Invented,Meter,1,2\n"
    await channel.write(b"READ?\n", 10.0)
    assert await channel.read_some(10.0) == b"+2.061E+01\n"
    with pytest.raises(LinkTimeout):
        await channel.read_some(0.1)
    await channel.close()
