"""Every driver that the simulation has a meter for reads it over a real link.

Encoder and decoder were written apart from each other, so that an agreement says something.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
import time

import pytest

from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import driver_class


def clock():
    """Real time, as drivers want it."""
    return time.monotonic(), time.time()


@contextlib.asynccontextmanager
async def bench(truth, *words):
    """A simulated bench with typed hands; gives its process and the links of its instruments."""
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "sim", "--hands", "typed", "--truth", str(truth), *words),
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
    )
    links = []
    try:
        line = ""
        while len(links) < 2:
            line = (await process.stdout.readline()).decode()
            assert line, "the bench has ended"
            if line.startswith("link = "):
                links.append(line.split('"')[1])
        while not line.startswith("on the bench"):
            line = (await process.stdout.readline()).decode()
        yield process, *links
    finally:
        process.stdin.close()
        await process.wait()


async def until(meter, wanted, number):
    """Readings in a row of which each is as wanted; gives up after 400."""
    run = []
    stream = meter.readings()
    async with contextlib.aclosing(stream):
        for _ in range(400):
            reading = await anext(stream)
            run = [*run, reading] if wanted(reading) else []
            if len(run) == number:
                return run
    raise AssertionError("no such run of readings")


def steady(reading):
    """A value, not overload."""
    return reading.kind is Kind.VALUE


@pytest.mark.parametrize(
    ("words", "driver", "speed", "number", "allowed_ohm"),
    [
        (("--meter", "bench-6-digit"), "scpi", 10, 12, 0.05),
        (("--meter", "bench-6-digit", "--meter-link", "pty"), "scpi", 10, 12, 0.05),
        (("--meter", "bench-50000", "--meter-link", "pty"), "lines", 4, 15, 0.5),
        (("--meter", "hand-6000", "--meter-link", "pty"), "status14", 4, 6, 2.5),
        (("--meter", "hand-4000", "--meter-link", "pty", "--fixed-range", "400"), "parity11", 2, 6, 3.0),
        (
            ("--meter", "hand-2000", "--voice", "stx16", "--meter-link", "pty", "--fixed-range", "1000"),
            "stx16",
            4,
            6,
            5.0,
        ),
        (
            ("--meter", "hand-2000", "--fixed-range", "1000"),
            "ascii14",
            4,
            4,
            5.0,
        ),  # by a serial server on TCP
    ],
)
async def test_a_driver_reads_what_the_simulated_meter_shows(
    tmp_path, words, driver, speed, number, allowed_ohm
):
    """Overload with probes in the air, then the winding within the meter's accuracy, leads included."""
    truth = tmp_path / "truth.jsonl"
    async with bench(truth, "--speed", str(speed), *words) as (process, link, _):
        kind = driver_class(driver)
        async with kind(meter_id="m", address=link, clock=clock, options=kind.Options()) as meter:
            quantity = Quantity.RESISTANCE_4W if driver == "scpi" else Quantity.RESISTANCE
            async with asyncio.timeout(25):
                await meter.configure(Setup(quantity=quantity, expected_si=200.0))
                if driver != "stx16":  # how these send overload is not published
                    await until(meter, lambda r: r.kind is Kind.OVERLOAD, 2)
                process.stdin.write(b"1 2\n")
                last = (await until(meter, steady, number))[-1]
            process.stdin.write(b"lift\n")
            assert (await process.stdout.readline()).startswith(b"probes on")
            assert (await process.stdout.readline()).startswith(b"probes in the air")
    ohm = json.loads(truth.read_text().splitlines()[-1])["true_ohm"]
    assert last.quantity is quantity
    leads_ohm = 0.0 if driver == "scpi" else 0.13
    assert last.value_si == pytest.approx(ohm + leads_ohm, abs=allowed_ohm)


async def test_the_thermometer_is_read_by_the_line_driver(tmp_path):
    """Degrees Celsius of the air."""
    async with bench(tmp_path / "t", "--speed", "5") as (_, _, link):
        kind = driver_class("lines")
        async with kind(meter_id="t", address=link, clock=clock, options=kind.Options()) as meter:
            async with asyncio.timeout(25):
                reading = (await until(meter, steady, 3))[-1]
    assert reading.quantity is Quantity.TEMPERATURE
    assert 20.8 < reading.value_si < 24.4
