"""The simulated bench as a process of its own: start it, show it what a person would see, hear what it does.

The only things between the daemon and the simulation are two addresses and these lines. Nothing of `sim` is
imported. Not for judging and not for display.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
import sys
from collections.abc import AsyncGenerator, AsyncIterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from acquire.errors import SteadyohmError
from acquire.records import Code, Event, Fact, Judged, LeadZero, Notice, Prompt, Settled, UnitResult
from acquire.records.codes import Refusal
from acquire.words.notices import said
from acquire.words.prompts import asked
from system.incoming import read_lines

START_S = 20.0
"""How long the simulation may take to say where its instruments are."""


@dataclass(frozen=True, slots=True)
class StandIn:
    """A running simulation.

    Attributes:
        process: its process.
        lines: what it says.
        meter, thermometer: where its instruments are, as a bench file writes it.
    """

    process: subprocess.Popen[bytes]
    lines: AsyncGenerator[str]
    meter: str
    thermometer: str

    def show(self, event: Event) -> None:
        """Let the simulated operator see an event, if a person would."""
        seen, pipe = as_seen(event), self.process.stdin
        if seen and pipe is not None:
            with contextlib.suppress(OSError):  # it has ended
                pipe.write(json.dumps(seen).encode() + b"\n")

    async def doings(self) -> AsyncIterator[dict[str, Any]]:
        """What the hands do, until the simulation ends."""
        async for line in self.lines:
            if not (doing := _heard(line)):
                return
            yield doing


@contextlib.asynccontextmanager
async def stand_in(arguments: Sequence[str]) -> AsyncIterator[StandIn]:
    """Start `python -m sim` and end it on leaving.

    Args:
        arguments: of its command line.

    Raises:
        SteadyohmError: it does not start.
    """
    words = (sys.executable, "-P", "-m", "sim", *arguments)  # -P: a user's own folder named sim is not ours
    pipe = subprocess.PIPE
    with subprocess.Popen(words, stdin=pipe, stdout=pipe, bufsize=0) as process:  # noqa: S603, ASYNC220  (our own)
        assert process.stdout is not None  # noqa: S101  (a pipe was asked for)
        async with contextlib.aclosing(read_lines(process.stdout.fileno())) as lines:
            try:
                address = await _address(lines)
                yield StandIn(process, lines, str(address["meter"]), str(address["thermometer"]))
            finally:
                await _end(process)


async def _address(lines: AsyncGenerator[str]) -> dict[str, Any]:
    """Where its instruments are, by name: the first thing it says."""
    try:
        async with asyncio.timeout(START_S):
            address = _heard(await anext(lines, "")).get("address")
    except TimeoutError:
        raise SteadyohmError(f"The simulated bench is silent for {START_S:.0f} s.") from None
    if not isinstance(address, dict):
        raise SteadyohmError("The simulated bench does not start.", "Run `python -m sim` to see why.")
    return address


def _heard(line: str) -> dict[str, Any]:
    """What a line says; empty for anything but one object."""
    try:
        heard = json.loads(line)
    except ValueError:
        return {}
    return heard if isinstance(heard, dict) else {}


async def _end(process: subprocess.Popen[bytes]) -> None:
    """Close its input, which ends it; insist after a while."""
    if process.stdin is not None:
        process.stdin.close()
    try:
        await asyncio.to_thread(process.wait, 3.0)
    except subprocess.TimeoutExpired:
        process.terminate()


def _turn(facts: Mapping[str, Fact]) -> dict[str, Fact]:
    """Where the dial is to be turned, if anywhere."""
    return {name: fact for name, fact in facts.items() if name == "turn_ohm"}


def as_seen(event: Event) -> dict[str, Any]:
    """What a person at the bench sees or hears of an event; empty where that is nothing."""
    seen: dict[str, Any] = {}
    match event:
        case Prompt():
            more = {"pins": list(event.pair)} if event.pair else {}
            seen = {"show": event.ask.value, "text": asked(event), **more, **_turn(event.facts)}
        case Notice(code=Code.COMMAND_REFUSED) if "turn_ohm" in event.facts:
            untold = event.facts["refusal"] == Refusal.RANGE_UNTOLD
            seen = {"show": "wait", "untold": untold, **_turn(event.facts)}
        case Settled(revision=0):
            seen = {"show": "settled"}
        case Judged():
            seen = {"show": "verdict", "outcome": event.verdict.outcome.value}
        case LeadZero():
            seen = {"show": "lift"}
        case Notice(code=Code.PAIR_OTHER | Code.PAIR_UNCLEAR | Code.PROBES_NOT_LIFTED):
            seen = {"show": "hint", "text": said(event)}
        case Notice(code=Code.FIXTURE_UNPROVEN):
            seen = {"show": "look_at_clips", "text": said(event)}
        case UnitResult(revision=0):  # a later one changes a result, not what lies on the bench
            seen = {"show": "unit", "outcome": event.outcome.value if event.outcome else "held"}
        case _:
            pass
    return seen
