"""LCR answers against printed examples, and the meter against a scripted one."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path

import pytest

from drivers.errors import MeterRefused
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.scpi.lcr_meter import LcrDialect, LcrMeter, LcrOptions, parse_triple

FRAMES = json.loads((Path(__file__).parent.parent / "data" / "frames.json").read_text(encoding="utf-8"))[
    "frames"
]
VECTORS = [frame for frame in FRAMES if frame["protocol"] == "lcr_fetch"]


def clock():
    return time.monotonic(), time.time()


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["id"])
def test_triples_say_what_they_show(vector):
    primary, secondary, status = parse_triple(vector["text"])
    assert primary.value_si == vector["value"]
    assert secondary.value_si == vector["secondary"]
    quantity = Quantity.CAPACITANCE if vector["unit"] == "F" else Quantity.INDUCTANCE
    strict = LcrDialect(LcrOptions()).parse_reading(vector["text"], quantity)
    trusting = LcrDialect(LcrOptions(accept_suspect=True)).parse_reading(vector["text"], quantity)
    assert trusting.value_si == vector["value"]
    assert (strict.value_si is None) == (status != 0), "a suspect number decides nothing"


@pytest.mark.parametrize("text", ["+1.0E+00,+2.0E+00", "1,2,9", "1,2,x", "a,2,0", "1,2,0,1,5"])
def test_what_is_no_triple_is_refused(text):
    with pytest.raises(ValueError):
        parse_triple(text)


class Bridge:
    """A scripted LCR meter."""

    def __init__(self):
        self.function = "CPD"
        self.log = []

    async def serve(self, reader, writer):
        answers = {
            "*IDN?": "Plover Works,LC1,0,1",
            "*OPC?": "1",
            "SYST:ERR?": '0,"No error"',
        }
        while line := await reader.readline():
            text = line.decode().strip()
            self.log.append(text)
            if text.startswith("FUNC:IMP "):
                self.function = text.split()[1]
            answer = answers.get(text)
            if text == "FUNC:IMP?":
                answer = self.function
            if text == "*TRG":
                answer = {
                    "LSQ": "+1.52340E-02,+2.80500E+01,+0",
                    "CPD": "+4.70210E-08,+1.20000E-03,+0,+01",
                    "DCR": "+9.90000E+37,+9.90000E+37,+1",
                }[self.function]
            if answer is not None:
                writer.write((answer + "\n").encode())
        writer.close()


async def test_the_value_that_the_step_wants_is_read_with_its_function_set():
    bridge = Bridge()
    server = await asyncio.start_server(bridge.serve, "127.0.0.1", 0)
    address = f"tcp:127.0.0.1:{server.sockets[0].getsockname()[1]}"
    async with LcrMeter(
        meter_id="lcr", address=address, clock=clock, options=LcrOptions(quiet_s=0.02)
    ) as meter:
        found = {}
        for quantity in (
            Quantity.INDUCTANCE,
            Quantity.QUALITY_FACTOR,
            Quantity.CAPACITANCE,
            Quantity.RESISTANCE,
        ):
            await meter.configure(Setup(quantity, expected_si=0.1))
            stream = meter.readings()
            found[quantity] = await anext(stream)
            await stream.aclose()
        with pytest.raises(MeterRefused, match="does not measure diode"):
            await meter.configure(Setup(Quantity.DIODE))
    server.close()
    await asyncio.sleep(0.05)
    assert found[Quantity.INDUCTANCE].value_si == 0.015234
    assert found[Quantity.QUALITY_FACTOR].value_si == 28.05
    assert found[Quantity.CAPACITANCE].value_si == 4.7021e-08
    assert found[Quantity.RESISTANCE].kind is Kind.OVERLOAD
    assert "FREQ 1000" in bridge.log
