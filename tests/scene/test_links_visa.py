"""VISA channels through pyvisa and pyvisa-py on a real socket and a real pty."""

from __future__ import annotations

import asyncio
import os
import socket
import time
import tty

import pytest

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable
from drivers.link.opening import channel_for
from drivers.link.visa import probe_target
from drivers.meter import Setup
from drivers.reading import Quantity
from drivers.scpi.bench_meter import BenchMeter
from drivers.scpi.dialect import BenchMeterOptions
from tests.benchmarks.drivers_peers import Instrument
from tests.waiting import crowding


@pytest.fixture
async def peer():
    accepted: asyncio.Queue = asyncio.Queue()
    server = await asyncio.start_server(lambda r, w: accepted.put_nowait((r, w)), "127.0.0.1", 0)
    yield server.sockets[0].getsockname()[1], accepted
    server.close()


async def second_connection(accepted):
    """The first is the probe that makes sure somebody listens."""
    _, probe = await accepted.get()
    probe.close()
    return await accepted.get()


async def test_a_socket_resource_talks_lines_and_times_out_on_time(peer):
    port, accepted = peer
    channel = channel_for(f"visa:TCPIP0::127.0.0.1::{port}::SOCKET")
    await channel.open()
    reader, writer = await second_connection(accepted)
    await channel.write(b"*IDN?\n", 1.0)
    assert await reader.readline() == b"*IDN?\n"
    writer.write(b"Plover,1,2,3\n")
    assert await channel.read_some(1.0) == b"Plover,1,2,3\n"
    started_s = time.monotonic()
    with pytest.raises(LinkTimeout):
        await channel.read_some(0.2)
    assert time.monotonic() - started_s < 0.6 * crowding()
    writer.write(b"late\n")
    assert await channel.drain(0.05) == b"late\n"
    await channel.close()
    writer.close()


async def test_a_cancelled_read_hands_its_answer_to_the_next(peer):
    port, accepted = peer
    channel = channel_for(f"visa:TCPIP0::127.0.0.1::{port}::SOCKET")
    await channel.open()
    _, writer = await second_connection(accepted)
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.05):
            await channel.read_some(1.0)
    writer.write(b"+1.0\n")
    assert await channel.read_some(1.0) == b"+1.0\n"
    await channel.close()
    writer.close()


async def test_a_peer_that_closes_is_lost_at_once_and_no_processor_spins(peer):
    port, accepted = peer
    channel = channel_for(f"visa:TCPIP0::127.0.0.1::{port}::SOCKET")
    await channel.open()
    _, writer = await second_connection(accepted)
    started_s, cpu_s = time.monotonic(), time.process_time()
    reading = asyncio.create_task(channel.read_some(10.0))
    await asyncio.sleep(0.2)
    writer.close()
    with pytest.raises(LinkLost, match="closed"):
        await reading
    assert time.monotonic() - started_s < 0.6 * crowding()
    assert time.process_time() - cpu_s < 0.15
    await channel.close()


async def test_the_bench_meter_runs_on_a_visa_resource():
    async with Instrument() as instrument:
        address = f"visa:TCPIP0::127.0.0.1::{instrument.port}::SOCKET"
        options = BenchMeterOptions(reply_timeout_s=0.5, quiet_s=0.02)
        async with BenchMeter(
            meter_id="v", address=address, clock=lambda: (0.0, 0.0), options=options
        ) as meter:
            held = await meter.configure(Setup(Quantity.RESISTANCE, expected_si=50.0))
            stream = meter.readings()
            reading = await anext(stream)
            instrument.late_s = [0.7]
            after = await anext(stream)
            await stream.aclose()
    assert held.range_full_scale_si == 100.0
    assert (reading.value_si, after.value_si) == (20.61, 20.61)


async def test_a_refused_port_is_found_before_the_library_pretends_to_be_open():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        channel = channel_for(f"visa:TCPIP0::127.0.0.1::{sock.getsockname()[1]}::SOCKET")
        with pytest.raises(LinkUnavailable, match="nothing answers"):
            await channel.open()


async def test_a_resource_that_means_nothing_is_one_sentence():
    with pytest.raises(LinkUnavailable, match="no name of a VISA resource"):
        await channel_for("visa:NONSENSE::1").open()


async def test_a_serial_resource_works_on_a_pty_and_its_loss_is_seen():
    master, slave = os.openpty()
    tty.setraw(slave)
    channel = channel_for(f"visa:ASRL{os.ttyname(slave)}::INSTR")
    await channel.open()
    await channel.write(b"READ?\n", 1.0)
    assert os.read(master, 16) == b"READ?\n"
    os.write(master, b"+2.0\n")
    assert await channel.read_some(1.0) == b"+2.0\n"
    os.close(slave)
    os.close(master)
    with pytest.raises(LinkLost):
        await channel.read_some(1.0)
    await channel.close()


@pytest.mark.parametrize(
    ("resource", "target"),
    [
        ("TCPIP0::10.0.0.7::5025::SOCKET", ("10.0.0.7", 5025)),
        ("TCPIP::meter::hislip0::INSTR", ("meter", 4880)),
        ("TCPIP::meter::hislip0,4881::INSTR", ("meter", 4881)),
        ("TCPIP0::meter::inst0::INSTR", ("meter", 111)),
        ("TCPIP0::meter::INSTR", ("meter", 111)),
        ("USB0::0x1::0x2::S::INSTR", None),
        ("GPIB0::22::INSTR", None),
    ],
)
def test_lan_resources_are_probed_at_their_own_port(resource, target):
    assert probe_target(resource) == target
