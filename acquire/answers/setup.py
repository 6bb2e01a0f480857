"""`steadyohm setup`: the bench page without a bench, to make one; the bench then runs in the same process.

Not for what the setup screen does (acquire.page.setup) nor for a bench that has its file (bench.run).
"""

from __future__ import annotations

import asyncio
import os
import webbrowser
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire import logs
from acquire.answers.instruments import bench_text_for, measures_temperature
from acquire.answers.options import Level, LogLevel
from acquire.bench.assembly import SOFTWARE
from acquire.bench.run import at_work, reads_on_hang_up
from acquire.clock import RealClock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.console import BenchConsole
from acquire.page.backend import About, PageBackend
from acquire.page.bench_page import BenchPage, open_page
from acquire.page.serve import address_of
from acquire.page.setup import SettingUp, WantedBench
from acquire.page.sheet_edit import SheetEditor
from acquire.page.view import BenchView
from acquire.quantity import parse
from acquire.records import Purpose
from acquire.study.on_page import Work, studies
from drivers.errors import MeterError
from drivers.find import SearchStep, find_meters
from system.desktop import has_screen
from system.ending import asked_to_end, run_loop
from system.processes import begun

HOST = "127.0.0.1"
"""Setting up is for whoever sits at this machine."""


async def run_setup(folder: Path, port: int, *, browser: bool | None = None) -> None:
    """Serve the setup page until a bench was started and has ended, or until a signal.

    Args:
        folder: where bench files are read and written.
        port: of the page; 0 takes a free one.
        browser: open the page in one; None where somebody sits at this terminal and has a screen.

    Raises:
        InputImpossible: there is no such folder.
        SteadyohmError: the port cannot be had.
    """
    folder = await asyncio.to_thread(_there, folder)
    about = About("setup", Purpose.FINAL, "", "", SOFTWARE)
    page = open_page(HOST, port, folder / "page-token", BenchView(about), mode="setup")
    stop, read_again, ended = asyncio.Event(), asyncio.Event(), asyncio.Event()
    console, clock = BenchConsole(), RealClock()
    with asked_to_end(stop.set), reads_on_hang_up(stop, read_again):
        async with asyncio.TaskGroup() as group:
            works = Works(group, page, stop)

            async def start(file: Path) -> None:
                bench = await asyncio.to_thread(load_bench, file)
                await works.start(
                    lambda end, ready: at_work(bench, console, end, read_again, page=page, ready=ready)
                )

            setup = SettingUp(folder, page.stream, clock, _look, partial(_text, page.port), start)
            reported, begin = studies(folder, page, clock, works.start)
            asks = {"/setup": setup.state, "/study": reported}
            posts = {**setup.posts(), "/sheet": SheetEditor(folder, setup.shelf).answer, "/study": begin}
            page.put_backend(PageBackend(clock.utc_s, asks=asks, posts=posts), page.stream.view, "setup")
            console.print(page.invitation(to_terminal=console.is_terminal))
            if (console.is_terminal and has_screen(os.environ)) if browser is None else browser:
                begun(lambda: webbrowser.open(address_of(page.listener)))
            group.create_task(page.run(ended), name="page")
            try:
                await stop.wait()
                await asyncio.gather(*works.tasks)
            finally:
                setup.close()
                ended.set()


@dataclass(slots=True)
class Works:
    """What was started from the page: studies, one after the other, and a bench as the last.

    Attributes:
        group: they run in.
        page: of setup until a bench runs.
        stop: ends whatever runs; set when a bench has ended.
        tasks: that were begun.
    """

    group: asyncio.TaskGroup
    page: BenchPage
    stop: asyncio.Event
    tasks: list[asyncio.Task[None]] = field(default_factory=list)

    async def start(self, work: Work) -> None:
        """Start something; returns when it runs.

        Raises:
            SteadyohmError, MeterError: it cannot be started; another may be tried.
        """
        runs: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self.tasks.append(self.group.create_task(self._run(work, runs), name="work"))
        await asyncio.shield(runs)

    async def _run(self, work: Work, runs: asyncio.Future[None]) -> None:
        try:
            await work(self.stop, lambda: runs.set_result(None))
        except (SteadyohmError, MeterError) as error:
            if runs.done():
                raise
            runs.set_exception(error)
        else:
            if self.page.stream.mode != "setup":
                self.stop.set()


def _there(folder: Path) -> Path:
    if not folder.is_dir():
        raise InputImpossible(f"There is no folder {folder}.", "Make it, or name another with --folder.")
    return folder.resolve()


async def _look(places: list[str]) -> AsyncIterator[SearchStep]:
    """The addresses that somebody gave first, then every serial port."""
    if places:
        async for finding in find_meters(serial_ports=(), tcp=places):
            yield finding
    async for finding in find_meters():
        yield finding


def _text(port: int, wanted: WantedBench) -> str:
    """The bench file that was put together; its page stays where it is."""
    typed = wanted.settings.get("temperature", "")
    told = ("name", "purpose", "operator", "batch", "self_check")
    said: dict[str, Any] = {name: wanted.settings[name] for name in told if name in wanted.settings}
    if typed:
        said["celsius"] = parse(typed, "°C")
    others = () if typed else wanted.others  # a temperature that was typed counts
    found = [wanted.finding, *(each for each in others if measures_temperature(each))]
    return bench_text_for(found, sheet=wanted.sheet, model=wanted.model, page_port=port, **said)


def setup(
    *,
    folder: Annotated[Path, typer.Option(help="Where bench files are looked for and written.")] = Path(),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="TCP port of the page; 0 takes a free one.")
    ] = 8480,
    browser: Annotated[
        bool | None,
        typer.Option("--browser/--no-browser", help="Open the page in a browser; default: from a terminal."),
    ] = None,
    log_level: LogLevel = Level.WARNING,
) -> None:
    """Make a bench in the browser: find the meter, choose the sheet, test the link, start."""
    logs.set_up(level=log_level.value)
    run_loop(run_setup(folder, port, browser=browser))
