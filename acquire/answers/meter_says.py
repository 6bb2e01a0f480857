"""`steadyohm meter-says`: the bytes that a bench's meter sends and what is made of them, live.

Nothing is judged and nothing recorded. Not for bytes that somebody pastes (instruments).
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.instruments import made_of
from acquire.bench.intake import Feed, ohmmeter
from acquire.clock import RealClock
from acquire.files.settings import Bench, load_bench
from acquire.heart.standstill import bytes_told
from acquire.records import Notice
from acquire.steps.setup_choice import Wanted
from acquire.words.notices import said
from drivers.frame import Decoded
from drivers.reading import Reading
from system.ending import run_loop


async def show_bytes(bench: Bench, say: Callable[[str], None], seconds: float | None = None) -> int:
    """Show what comes until it is ended.

    Args:
        bench: whose meter it is; set as for the first step, two-wire ohms.
        say: is given one line at a time.
        seconds: end after so long; None: never by itself.

    Returns:
        How many readings came.
    """
    clock = RealClock()

    def line(raw: bytes, made: str) -> None:
        told = bytes_told(raw)
        say(f"{told['hex']}  “{told['text']}”  {made}")

    def unread(raw: bytes, why: str) -> None:
        line(raw, f"no reading: {why}")

    async def take(reading: Reading) -> None:
        shown = Decoded(
            reading.quantity,
            reading.kind,
            reading.value_si,
            reading.resolution_si,
            reading.range_full_scale_si,
            reading.range_origin,
            reading.flags,
        )
        line(reading.raw, made_of(shown))

    async def tell(notice: Notice) -> None:
        say(said(notice))

    feed = Feed("meter", ohmmeter(bench, clock), clock, take, tell, wanted=Wanted, unread=unread)
    feed.integration_plc, feed.offset_compensation = (
        bench.meter.integration_plc,
        bench.meter.offset_compensation,
    )
    say(f"{bench.meter.driver} at {bench.meter.link}: bytes, text, and what is made of them. Ctrl-C ends it.")
    try:
        async with asyncio.timeout(seconds):
            await feed.run()
    except TimeoutError:
        say(f"{feed.readings} readings came.")
    return feed.readings


def meter_says(
    bench: Annotated[Path, typer.Argument(help="The bench file whose [meter] is to be heard.")],
    *,
    seconds: Annotated[
        float | None, typer.Option(min=0.1, max=86400.0, help="End after so long; else Ctrl-C ends it.")
    ] = None,
) -> None:
    """Show the bytes that a meter sends and what is made of them, live; nothing is judged or recorded."""
    came = 1
    with suppress(KeyboardInterrupt):
        came = run_loop(show_bytes(load_bench(bench), typer.echo, seconds))
    raise typer.Exit(0 if came else 1)
