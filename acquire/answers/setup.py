"""`steadyohm setup`: the bench page without a bench, to make one; the bench then runs in the same process.

Not for what the setup screen does (acquire.page.setup) nor for a bench that has its file (bench.run).
"""

from __future__ import annotations

import asyncio
import os
import threading
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire import logs
from acquire.answers.instruments import bench_text_for, measures_temperature
from acquire.answers.options import Level, LogLevel
from acquire.answers.reported import write_new
from acquire.bench.assembly import SOFTWARE
from acquire.bench.run import at_work, reads_on_hang_up
from acquire.clock import RealClock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.console import BenchConsole
from acquire.page.backend import About, PageBackend
from acquire.page.bench_page import BenchPage, open_page
from acquire.page.serve import address_of
from acquire.page.setup import Setup, Wanted
from acquire.page.sheet_edit import SheetEditor
from acquire.page.view import View
from acquire.quantity import parse
from acquire.records import Purpose
from acquire.study.on_page import studies
from drivers.errors import MeterError
from drivers.find import Finding, find_meters
from system.desktop import has_screen
from system.ending import asked_to_end, run_loop

HOST = "127.0.0.1"
"""Setting up is for whoever sits at this machine."""


Work = Callable[[asyncio.Event, Callable[[], None]], Awaitable[None]]
"""What can be run until the stop that is given; calls what is given too once it is under way."""


class Started:
    """Hands what somebody wants to start from the page to whoever runs it, and the answer back.

    Attributes:
        running: it has been started.
    """

    def __init__(self) -> None:
        """Nobody wants anything yet."""
        self.running = False
        self._asked: asyncio.Queue[tuple[Work, asyncio.Future[None]]] = asyncio.Queue(1)
        self._answer: asyncio.Future[None] | None = None

    async def start(self, work: Work) -> None:
        """Ask for it; returns when it runs.

        Raises:
            SteadyohmError, MeterError: it cannot be started.
        """
        answer: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        await self._asked.put((work, answer))
        await answer

    async def wanted(self, stop: asyncio.Event) -> Work | None:
        """The next one that is asked for; None at the stop."""
        asked, stopped = asyncio.create_task(self._asked.get()), asyncio.create_task(stop.wait())
        try:
            await asyncio.wait((asked, stopped), return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (asked, stopped):
                task.cancel()
        if stop.is_set() or asked.cancelled() or not asked.done():
            return None
        work, self._answer = asked.result()
        self.running = False
        return work

    def runs(self) -> None:
        """It is under way."""
        self.running = True
        if self._answer is not None and not self._answer.done():
            self._answer.set_result(None)

    def failed(self, error: Exception) -> None:
        """It cannot be."""
        if self._answer is not None and not self._answer.done():
            self._answer.set_exception(error)


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
    page = open_page(HOST, port, folder / "page-token", View(about), mode="setup")
    stop, read_again, ended = asyncio.Event(), asyncio.Event(), asyncio.Event()
    console = BenchConsole()
    started, clock = Started(), RealClock()

    async def start(file: Path) -> None:
        bench = await asyncio.to_thread(load_bench, file)
        await started.start(
            lambda end, ready: at_work(bench, console, end, read_again, page=page, ready=ready)
        )

    setup = Setup(folder, page.stream, clock, _look, _write_at(page.port), start)
    reported, begin = studies(folder, page, clock, started.start)
    asks = {"/setup": setup.state, "/study": reported}
    posts = {**setup.posts(), "/sheet": SheetEditor(folder, setup.shelf).answer, "/study": begin}
    page.put_backend(PageBackend(clock.utc_s, asks=asks, posts=posts), page.stream.view, "setup")
    console.print(page.invitation(to_terminal=console.is_terminal))
    if (console.is_terminal and has_screen(os.environ)) if browser is None else browser:
        threading.Thread(target=webbrowser.open, args=(address_of(page.listener),), daemon=True).start()
    with asked_to_end(stop.set), reads_on_hang_up(stop, read_again):
        async with asyncio.TaskGroup() as group:
            group.create_task(page.run(ended), name="page")
            try:
                await _worked(started, page, stop)
            finally:
                setup.close()
                ended.set()


async def _worked(started: Started, page: BenchPage, stop: asyncio.Event) -> None:
    """Run what somebody starts; what cannot be is told, and another may be tried. A bench is the last one."""
    while (work := await started.wanted(stop)) is not None:
        try:
            await work(stop, started.runs)
        except (SteadyohmError, MeterError) as error:
            if started.running:
                raise
            started.failed(error)
        else:
            if page.stream.mode != "setup":
                return


def _there(folder: Path) -> Path:
    if not folder.is_dir():
        raise InputImpossible(f"There is no folder {folder}.", "Make it, or name another with --folder.")
    return folder.resolve()


async def _look(places: list[str]) -> AsyncIterator[Finding]:
    """The addresses that somebody gave first, then every serial port."""
    if places:
        async for finding in find_meters(serial_ports=(), tcp=places):
            yield finding
    async for finding in find_meters():
        yield finding


def _write_at(port: int) -> Callable[[Wanted], None]:
    """What writes the bench file that was put together; its page stays where it is."""

    def write(wanted: Wanted) -> None:
        filled = wanted.words
        typed = filled.get("temperature", "")
        told = ("name", "purpose", "operator", "batch", "self_check")
        said: dict[str, Any] = {name: filled[name] for name in told if name in filled}
        if typed:
            said["celsius"] = parse(typed, "°C")
        others = () if typed else wanted.others  # a temperature that was typed counts
        thermometers = [each for each in others if measures_temperature(each)]
        text = bench_text_for(
            [wanted.finding, *thermometers],
            sheet=wanted.sheet,
            model=wanted.model,
            page_port=port,
            **said,
        )
        write_new(wanted.file, text)

    return write


def setup(
    *,
    folder: Annotated[Path, typer.Option(help="Where bench files are looked for and written.")] = Path(),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="TCP port of the page; 0 takes a free one.")
    ] = 8480,
    browser: Annotated[
        bool | None,
        typer.Option("--browser/--no-browser", help="Open the page in a browser; left out: from a terminal."),
    ] = None,
    log_level: LogLevel = Level.WARNING,
) -> None:
    """Make a bench in the browser: find the meter, choose the sheet, test the link, start."""
    logs.set_up(level=log_level.value)
    run_loop(run_setup(folder, port, browser=browser))
