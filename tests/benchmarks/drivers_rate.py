"""Every driver beside a bare loop on the same peer: readings per second and CPU per reading.

    python -m tests.benchmarks.drivers rate [--seconds 5]

The bare loop waits and takes bytes; the driver also checks, decodes, dates and hands over. Peers run in
processes of their own. A pty ignores baud rates, so this is software overhead only. Not a timed test.
"""

from __future__ import annotations

import asyncio
import contextlib
import resource
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass

import serial

from drivers.meter import Meter, Setup
from drivers.reading import Quantity
from drivers.registry import open_meter

STREAMS = {
    "status14": "2b 30 31 32 33 20 34 21 00 00 20 00 0d 0a",
    "parity11": "30 30 31 32 33 33 30 30 32 0d 0a",
    "segments14": "13 27 3d 40 55 65 7b 89 9f a0 b0 c4 d0 e0",
    "stx16": "02 34 31 33 38 30 32 30 30 30 30 31 32 33 34 0d",
}
"""One good frame each, from tests/data/frames.json."""

FRAMES_A_CONVERSION = {"parity11": 2}
"""Meters that send each conversion more than once; the driver gives one reading for it."""

ASKED = {
    "ascii14": ("44", b"DC-1.9999   V\r".hex(), {"query": "D", "poll_s": 0.0, "counts": 20000}),
    "two_line": (
        b"QM\r".hex(),
        b"0\r+1.047E+1,OHM,NORMAL,NONE\r".hex(),
        {"acknowledgement": "first", "query": "QM\r", "poll_s": 0.0},
    ),
}
"""Question, answer and options of meters that are asked on a serial line."""

REGISTERS = {
    "framing": "tcp",
    "poll_s": 0.0,
    "channels": [
        {
            "quantity": "resistance_4w",
            "table": "holding",
            "address": 0x2000,
            "form": "float32",
            "order": "ABCD",
        }
    ],
}
GOAL = 0.8


def clock() -> tuple[float, float]:
    """The pair of clocks that a driver is given."""
    return time.monotonic(), time.time()


def cpu_s() -> float:
    """Processor time of this process, all threads."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


@contextlib.contextmanager
def peer(*arguments: str) -> Iterator[str]:
    """Run a peer in a process of its own; gives what it prints first."""
    command = [sys.executable, "-m", "tests.benchmarks.drivers_peers", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process.stdout.readline().strip()
        finally:
            process.terminate()


@dataclass
class Pace:
    """Readings in a time, and what they cost."""

    readings: int
    seconds: float
    cpu: float

    @property
    def per_s(self) -> float:
        """Readings per second."""
        return self.readings / self.seconds

    def __str__(self) -> str:
        return f"{self.per_s:9.0f}/s {1e6 * self.cpu / max(self.readings, 1):8.1f} us CPU"


def bare_socket(port: int, seconds: float, question: bytes = b"READ?\n", answer_bytes: int = 0) -> Pace:
    """Ask and read with nothing but a socket; an answer ends with its line or after so many bytes."""
    with socket.create_connection(("127.0.0.1", port)) as sock:
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        started, used, count = time.monotonic(), cpu_s(), 0
        while time.monotonic() - started < seconds:
            sock.sendall(question)
            answer = b""
            while not (len(answer) >= answer_bytes if answer_bytes else answer.endswith(b"\n")):
                answer += sock.recv(4096)
            count += 1
        return Pace(count, time.monotonic() - started, cpu_s() - used)


def bare_lines(port: int, seconds: float) -> Pace:
    """Take lines that come by themselves with nothing but a socket."""
    with socket.create_connection(("127.0.0.1", port)) as sock:
        started, used, count = time.monotonic(), cpu_s(), 0
        while time.monotonic() - started < seconds:
            count += sock.recv(4096).count(b"\n")
        return Pace(count, time.monotonic() - started, cpu_s() - used)


def bare_stream(path: str, seconds: float, frame_bytes: int) -> Pace:
    """Read frames with nothing but pyserial, the fast way: wait, then take what is there."""
    with serial.Serial(path, 9600, timeout=0.2) as port:
        started, used, taken = time.monotonic(), cpu_s(), 0
        while time.monotonic() - started < seconds:
            taken += len(port.read(1)) + len(port.read(port.in_waiting))
        return Pace(taken // frame_bytes, time.monotonic() - started, cpu_s() - used)


def bare_question(path: str, seconds: float, question: bytes, answer_bytes: int) -> Pace:
    """Ask and read with nothing but pyserial."""
    with serial.Serial(path, 9600, timeout=0.2) as port:
        started, used, count = time.monotonic(), cpu_s(), 0
        while time.monotonic() - started < seconds:
            port.write(question)
            count += len(port.read(answer_bytes)) == answer_bytes
        return Pace(count, time.monotonic() - started, cpu_s() - used)


async def driven(meter: Meter, seconds: float, setup: Setup | None = None) -> Pace:
    """Read with a driver."""
    async with meter:
        if setup is not None:
            await meter.configure(setup)
        stream = meter.readings()
        await anext(stream)
        started, used, count = time.monotonic(), cpu_s(), 0
        async for _ in stream:
            count += 1
            if time.monotonic() - started >= seconds:
                break
        await stream.aclose()
        return Pace(count, time.monotonic() - started, cpu_s() - used)


def _drive(driver: str, address: str, seconds: float, setup: Setup | None = None, **options: object) -> Pace:
    meter = open_meter(driver, meter_id="b", address=address, clock=clock, options=options)
    return asyncio.run(driven(meter, seconds, setup))


def _told(what: str, pace: str, bare: Pace, ours: Pace) -> None:
    ratio = ours.per_s / bare.per_s
    mark = "" if ratio >= GOAL else f"  below {GOAL:g}"
    print(f"  {what:24}{pace:>14} | bare {bare} | driver {ours} | ratio {ratio:.2f}{mark}", flush=True)


def _asked_on_sockets(seconds: float, conversion_s: float) -> None:
    pace = f"{1e3 * conversion_s:g} ms" if conversion_s else "at full tilt"
    with peer("scpi", str(conversion_s)) as port:
        bare = bare_socket(int(port), seconds)
        ohms = Setup(Quantity.RESISTANCE, 100.0)
        _told("scpi", pace, bare, _drive("scpi", f"tcp:127.0.0.1:{port}", seconds, ohms))
        visa = f"visa:TCPIP0::127.0.0.1::{port}::SOCKET"
        _told("scpi over VISA", pace, bare, _drive("scpi", visa, seconds, ohms))
        bare = bare_socket(int(port), seconds, b"*TRG\n")
        henry = Setup(Quantity.INDUCTANCE)
        _told("scpi-lcr", pace, bare, _drive("lcr", f"tcp:127.0.0.1:{port}", seconds, henry))
    with peer("registers", str(conversion_s)) as port:
        question = bytes.fromhex("0001 0000 0006 01 03 2000 0002")
        bare = bare_socket(int(port), seconds, question, answer_bytes=13)
        ours = _drive("modbus", f"tcp:127.0.0.1:{port}", seconds, **REGISTERS)
        _told("modbus", pace, bare, ours)


def _asked_on_ports(seconds: float, conversion_s: float) -> None:
    pace = f"{1e3 * conversion_s:g} ms" if conversion_s else "at full tilt"
    for driver, (question, answer, options) in ASKED.items():
        with peer("answering", question, answer, str(conversion_s)) as path:
            asked, given = bytes.fromhex(question), len(bytes.fromhex(answer))
            bare = bare_question(path, seconds, asked, given)
            _told(driver, pace, bare, _drive(driver, f"serial:{path}", seconds, **options))


def _streams(seconds: float, rate_hz: float) -> None:
    pace = f"{rate_hz:g} a second" if rate_hz else "at full tilt"
    for driver, frame in STREAMS.items():
        with peer("pty", frame, str(rate_hz)) as path:
            reading_bytes = len(bytes.fromhex(frame)) * FRAMES_A_CONVERSION.get(driver, 1)
            bare = bare_stream(path, seconds, reading_bytes)
            _told(driver, pace, bare, _drive(driver, f"serial:{path}", seconds))
    if rate_hz:
        with peer("lines", str(rate_hz)) as port:
            bare = bare_lines(int(port), seconds)
            _told("lines", pace, bare, _drive("lines", f"tcp:127.0.0.1:{port}", seconds))


def rate(seconds: float) -> None:
    """Drivers beside bare loops."""
    print(f"\nrate: each {seconds:g} s, one peer at a time; goal: {GOAL:g} of the bare loop")
    for conversion_s in (0.0, 0.002, 0.02):
        _asked_on_sockets(seconds, conversion_s)
        _asked_on_ports(seconds, conversion_s)
    for rate_hz in (0.0, 500.0, 50.0):
        _streams(seconds, rate_hz)
