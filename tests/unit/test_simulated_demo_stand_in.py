"""The simulation as a process: started, shown what a person would see, heard, and ended."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import psutil
import pytest

from acquire.errors import SteadyohmError
from acquire.records import (
    Approach,
    Ask,
    Code,
    Ending,
    Evidence,
    Judged,
    LeadZero,
    Notice,
    Outcome,
    Pair,
    Prompt,
    Settled,
    Severity,
)
from acquire.simulated.demo import as_seen, stand_in
from drivers.reading import Quantity
from tests.known_records import NOTICE, RESULT, STARTED, VERDICT

SETTLED = Settled("m", Quantity.RESISTANCE, 1.0, 0.0, 9.0, 0.0, 0.0, 0.0, 9, None, None, 0.0, 1.0, 1.0)


@pytest.mark.parametrize(
    ("event", "seen"),
    [
        (
            Prompt(Ask.TOUCH, pair=Pair("1", "2"), step="slow charge"),
            {"show": "touch", "text": "Touch 1–2 (slow charge).", "pins": ["1", "2"]},
        ),
        (Prompt(Ask.START_UNIT), {"show": "start_unit", "text": "Scan or type the serial of the next unit."}),
        (SETTLED, {"show": "settled"}),
        (replace(SETTLED, revision=1), {}),
        (Judged(VERDICT, Evidence((), (), "")), {"show": "verdict", "outcome": "pass"}),
        (LeadZero("b", "m", 0.1, 0.01, 0.0), {"show": "lift"}),
        (NOTICE, {"show": "hint", "text": NOTICE.facts["said"]}),
        (Notice(Severity.STOP, Code.METER_LOST, 0.0, facts={"said": "gone"}), {}),
        (RESULT, {"show": "unit", "outcome": "fail"}),
        (replace(RESULT, revision=1), {}),
        (replace(RESULT, outcome=None, ending=Ending.WARM), {"show": "unit", "outcome": "held"}),
        (STARTED, {}),
        (Approach("m", Quantity.RESISTANCE, 1.0, 5.0, 0.0, 0.0), {}),
    ],
)
def test_the_operator_sees_what_a_person_would(event, seen):
    """Prompts, colours and sounds; nothing of what the daemon thinks."""
    assert as_seen(event) == seen
    if isinstance(event, Judged):
        assert Outcome(seen["outcome"]) is event.verdict.outcome


async def test_it_is_heard_and_ends_with_us():
    """Addresses first, then what the hands do; no process stays behind."""
    async with stand_in(["--units", "1", "--speed", "20", "--no-pty"]) as simulation:
        assert simulation.meter.startswith("tcp:127.0.0.1:")
        simulation.show(Prompt(Ask.START_UNIT))
        async with asyncio.timeout(10):
            doing = await anext(simulation.doings())
        assert doing["hands"] == "scan"
        number = simulation.process.pid
    assert not psutil.pid_exists(number)


async def test_a_simulation_that_does_not_start_is_said_in_a_sentence():
    """Its own words go to standard error; ours say what to do."""
    with pytest.raises(SteadyohmError, match="does not start"):
        async with stand_in(["--scene", "nowhere"]):
            pytest.fail("it cannot have started")


async def test_a_simulation_that_dies_ends_its_doings():
    """Showing things to it afterwards is no error."""
    async with stand_in(["--no-pty"]) as simulation:
        simulation.process.kill()
        async with asyncio.timeout(10):
            assert [doing async for doing in simulation.doings()] == []
        simulation.process.wait()
        simulation.show(Prompt(Ask.START_UNIT))


async def test_what_goes_wrong_inside_is_not_blamed_on_the_simulation():
    """A time limit of the caller's own stays what it is."""
    with pytest.raises(TimeoutError):
        async with stand_in(["--no-pty"]):
            raise TimeoutError
