"""Instruments by other people's programs: each is read through the driver that a bench would use."""

from __future__ import annotations

import time

import pytest

from drivers.errors import FrameGarbled
from drivers.meter import Setup
from drivers.reading import Kind, Quantity
from drivers.registry import open_meter

pytest.importorskip("pyvisa_sim")

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
