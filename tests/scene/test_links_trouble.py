"""Peers that die, stall and garble; third-party peers: socat, a serial port behind a network, pyvisa-sim."""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import select
import shutil
import socket
import subprocess
import sys
import threading
import time
import tty
from dataclasses import replace
from pathlib import Path

import pytest
import serial
import serial.rfc2217

from drivers.errors import LinkLost, LinkTimeout, LinkUnavailable, MeterError
from drivers.link.address import PLAIN_LINE, parse_address
from drivers.link.opening import channel_for
from drivers.link.visa import VisaChannel
from drivers.meter import Setup
from drivers.reading import Quantity
from drivers.registry import open_meter

ROOT = Path(__file__).parent.parent.parent


def clock():
    return time.monotonic(), time.time()


def free_port():
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        return sock.getsockname()[1]


class Unruly:
    """A SCPI meter whose answers carry which question they belong to, and which misbehaves at random.

    The value is 100 for RES and 7 for FRES, so that a reading under the wrong name is seen.
    """

    def __init__(self, seed):
        self.dice = random.Random(seed)
        self.calm = False
        self.troubles = 0
        self.server = None
        self.tasks = set()

    async def start(self, port=0):
        self.server = await asyncio.start_server(self.serve, "127.0.0.1", port)
        return self.server.sockets[0].getsockname()[1]

    async def stop(self):
        self.server.close()
        for task in list(self.tasks):
            task.cancel()
        await asyncio.gather(*self.tasks, return_exceptions=True)

    async def serve(self, reader, writer):
        self.tasks.add(asyncio.current_task())
        function = "VOLT"
        try:
            while line := await reader.readline():
                text = line.decode("ascii", "replace").strip()
                if text.startswith("CONF:"):
                    function = text[5:].split()[0]
                    continue
                answer = {
                    "*IDN?": "Plover Works,UR1,0,1",
                    "*OPC?": "1",
                    "SYST:ERR?": '+0,"No error"',
                    "CONF?": f'"{function} +1.0E+02,+1.0E-04"',
                    "READ?": {"RES": "+1.0E+02", "FRES": "+7.0E+00", "VOLT": "+5.0E-01"}[function],
                }.get(text)
                if answer is not None and await self.send(writer, answer):
                    return
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    async def send(self, writer, answer):
        """Send an answer, now and then in an evil way; True when the connection was dropped."""
        way = 9 if self.calm else self.dice.randrange(24)
        self.troubles += way < 6
        if way == 0:
            return True
        if way == 1:
            await asyncio.sleep(0.12)  # later than the driver waits
        if way == 2:
            writer.write(answer.encode()[: len(answer) // 2])  # half an answer, and no end
            return False
        if way == 3:
            answer = self.dice.randbytes(9).replace(b"\n", b"").decode("latin-1") + answer
        if way == 4:
            return False  # silent
        if way == 5:
            writer.write(answer.encode() + b"\n")  # says everything twice
        writer.write(answer.encode("latin-1") + b"\n")
        return False


async def shift(meter, unruly, seconds):
    """Measure 2- and 4-wire in turn through all troubles; gives what was read under which name.

    Now and then the reader itself loses patience, which cancels a question half way.
    """
    seen = []
    until_s = time.monotonic() + seconds
    wanted = [Quantity.RESISTANCE, Quantity.RESISTANCE_4W]
    while time.monotonic() < until_s:
        try:
            async with meter:
                while time.monotonic() < until_s:
                    quantity = wanted[unruly.dice.randrange(2)]
                    patience_s = unruly.dice.choice((0.002, 0.01, 5.0, 5.0))
                    with contextlib.suppress(TimeoutError):
                        async with asyncio.timeout(patience_s):
                            await measure(meter, quantity, seen)
        except MeterError:
            await asyncio.sleep(0.01)
    return seen


async def measure(meter, quantity, seen):
    await meter.configure(Setup(quantity, 100.0))
    stream = meter.readings()
    try:
        for _ in range(3):
            reading = await anext(stream)
            seen.append((quantity, reading.quantity, reading.value_si))
    finally:
        await stream.aclose()


async def trouble(seed, seconds):
    unruly = Unruly(seed)
    port = await unruly.start()
    meter = open_meter(
        "scpi",
        meter_id="u",
        address=f"tcp:127.0.0.1:{port}",
        clock=clock,
        options={"reply_timeout_s": 0.06, "quiet_s": 0.02},
    )
    seen = await shift(meter, unruly, seconds)
    await unruly.stop()
    return unruly, seen


async def test_through_drops_stalls_halves_and_doubles_no_reading_is_under_a_wrong_name():
    descriptors = open_descriptors()
    unruly, seen = await trouble(seed=11, seconds=2.5)
    right = {Quantity.RESISTANCE: 100.0, Quantity.RESISTANCE_4W: 7.0}
    assert unruly.troubles > 8
    assert len(seen) >= 3
    wrong = [one for one in seen if one[0] is not one[1] or right[one[0]] != one[2]]
    assert wrong == []
    assert open_descriptors() <= descriptors + 1


@pytest.mark.long
@pytest.mark.timeout(300)
async def test_the_same_for_minutes():
    for seed in range(8):
        unruly, seen = await trouble(seed, 20.0)
        assert unruly.troubles > 100
        right = {Quantity.RESISTANCE: 100.0, Quantity.RESISTANCE_4W: 7.0}
        assert [one for one in seen if one[0] is not one[1] or right[one[0]] != one[2]] == []


async def exhaust(stream):
    async for _ in stream:
        pass


def open_descriptors():
    return len(list(Path("/proc/self/fd").iterdir()))


def own_threads():
    """Threads but those in which asyncio waits for the peer processes of this test."""
    return sum("waitpid" not in thread.name for thread in threading.enumerate())


async def restarts(times):
    port = free_port()
    meter = open_meter(
        "scpi", meter_id="k", address=f"tcp:127.0.0.1:{port}", clock=clock, options={"reply_timeout_s": 0.5}
    )
    counts = []
    for _ in range(times):
        command = [sys.executable, "-m", "tests.benchmarks.drivers_peers", "scpi", "0.001", str(port)]
        process = await asyncio.create_subprocess_exec(*command, cwd=ROOT, stdout=subprocess.PIPE)
        await process.stdout.readline()
        async with meter:
            await meter.configure(Setup(Quantity.RESISTANCE, 100.0))
            stream = meter.readings()
            for _ in range(5):
                assert (await anext(stream)).value_si == 20.61
            process.kill()
            with pytest.raises(LinkLost):
                await exhaust(stream)
        await process.wait()
        process._transport.close()
        with pytest.raises(LinkUnavailable):
            async with meter:
                pass
        counts.append((open_descriptors(), own_threads()))
    return counts


async def test_a_peer_killed_and_started_again_is_read_again_and_nothing_leaks():
    counts = await restarts(4)
    assert counts[-1] == counts[0]


@pytest.mark.long
@pytest.mark.timeout(600)
async def test_the_same_two_hundred_times():
    counts = await restarts(200)
    assert counts[-1] == counts[0]


@pytest.mark.skipif(shutil.which("socat") is None, reason="socat, an outside peer, is not installed here")
async def test_a_pair_of_ptys_made_by_socat_is_a_cable(tmp_path):
    near, far = tmp_path / "near", tmp_path / "far"
    socat = await asyncio.create_subprocess_exec(
        "socat", f"pty,rawer,link={near}", f"pty,rawer,link={far}", stderr=subprocess.DEVNULL
    )
    for _ in range(100):
        if near.exists() and far.exists():
            break
        await asyncio.sleep(0.02)
    frame = bytes.fromhex("2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a")
    meter = open_meter("status14", meter_id="s", address=f"serial:{near}", clock=clock)
    with serial.Serial(str(far)) as other:
        async with meter:
            sending = asyncio.create_task(asyncio.to_thread(other.write, frame * 4))
            await sending
            stream = meter.readings()
            pump = asyncio.create_task(_keep_sending(other, frame))
            reading = await asyncio.wait_for(anext(stream), 3)
            socat.terminate()
            with pytest.raises(LinkLost):
                await asyncio.wait_for(exhaust(stream), 5)
            pump.cancel()
            await asyncio.gather(pump, return_exceptions=True)
    await socat.wait()
    socat._transport.close()
    assert reading.value_si == 12.3


async def _keep_sending(port, frame):
    while True:
        try:
            port.write(frame)
        except OSError:
            return
        await asyncio.sleep(0.05)


class NoModemLines(serial.Serial):
    """A serial port on a pty, which has no modem lines."""

    rts = dtr = False
    cts = dsr = ri = cd = True

    def _update_rts_state(self):
        pass

    def _update_dtr_state(self):
        pass


def serve_rfc2217(listener, path, stop):
    """pyserial's own server half (RFC 2217), between one connection and one port."""
    connection, _ = listener.accept()
    with connection, NoModemLines(path, timeout=0) as port:

        class Wire:
            @staticmethod
            def write(data):
                connection.sendall(data)

        manager = serial.rfc2217.PortManager(port, Wire())
        while not stop.is_set():
            ready, _, _ = select.select([connection, port.fileno()], [], [], 0.05)
            if connection in ready:
                data = connection.recv(256)
                if not data:
                    return
                port.write(b"".join(manager.filter(data)))
            if port.fileno() in ready:
                connection.sendall(b"".join(manager.escape(port.read(256))))


async def test_a_serial_port_behind_a_network_is_read_and_its_loss_seen():
    master, slave = os.openpty()
    tty.setraw(slave)
    listener = socket.create_server(("127.0.0.1", 0))
    stop = threading.Event()
    server = threading.Thread(target=serve_rfc2217, args=(listener, os.ttyname(slave), stop), daemon=True)
    server.start()
    channel = channel_for(f"rfc2217:127.0.0.1:{listener.getsockname()[1]}?baud=2400")
    await channel.open()
    await channel.write(b"READ?\n", 1.0)
    assert os.read(master, 32) == b"READ?\n"
    os.write(master, b"+1.0\n")
    assert await channel.read_some(2.0) == b"+1.0\n"
    stop.set()
    server.join()
    with pytest.raises(LinkLost):
        await channel.read_some(2.0)
    await channel.close()
    listener.close()
    os.close(master)
    os.close(slave)


SIMULATED = """
spec: "1.0"
devices:
  meter:
    eom:
      ASRL INSTR:
        q: "\\n"
        r: "\\n"
    error: ERROR
    dialogues:
      - q: "*IDN?"
        r: "Plover Works,SIM,0,1"
      - q: "READ?"
        r: "+1.04723000E+01"
resources:
  ASRL1::INSTR:
    device: meter
"""


async def test_dialogues_of_pyvisa_sim_are_spoken_alike(tmp_path):
    """pyvisa-sim: an instrument simulated by the VISA library's own people."""
    definition = tmp_path / "meter.yaml"
    definition.write_text(SIMULATED, encoding="utf-8")
    address = parse_address("visa:ASRL1::INSTR")
    channel = VisaChannel(replace(address, backend=f"{definition}@sim"), PLAIN_LINE)
    await channel.open()
    await channel.write(b"*IDN?\n", 1.0)
    assert (await channel.read_some(1.0)).strip() == b"Plover Works,SIM,0,1"
    await channel.write(b"READ?\n", 1.0)
    assert (await channel.read_some(1.0)).strip() == b"+1.04723000E+01"
    with pytest.raises(LinkTimeout):
        await channel.read_some(0.1)
    await channel.close()
