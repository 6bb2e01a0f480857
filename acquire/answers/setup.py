"""`steadyohm setup`: the bench page without a bench, to make one; the bench then runs in the same process.

Not for what the setup screen does (acquire.page.setup) nor for a bench that has its file (bench.run).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from acquire.answers.instruments import Wishes, bench_text_for, measures_temperature
from acquire.answers.told import write_new
from acquire.bench.assembly import SOFTWARE
from acquire.bench.run import at_work, reads_on_hang_up
from acquire.clock import RealClock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.console import BenchConsole
from acquire.page.about import About
from acquire.page.bench_page import Address, BenchPage, open_page
from acquire.page.setup import Setup, Wanted
from acquire.page.sheet_edit import LARGEST_BYTES, SheetEditor
from acquire.page.shelf import all_files
from acquire.page.view import View
from acquire.records import Purpose
from drivers.errors import MeterError
from drivers.find import Finding, find_meters
from system.ending import asked_to_end

HOST = "127.0.0.1"
"""Setting up is for whoever sits at this machine."""


class Started:
    """Hands the bench that somebody wants to start from the page to whoever runs it, and the answer back.

    Attributes:
        running: a bench has been started.
    """

    def __init__(self) -> None:
        """Nobody wants anything yet."""
        self.running = False
        self._asked: asyncio.Queue[tuple[Path, asyncio.Future[None]]] = asyncio.Queue(1)
        self._answer: asyncio.Future[None] | None = None

    async def start(self, file: Path) -> None:
        """Ask for a bench; returns when it runs.

        Raises:
            SteadyohmError, MeterError: it cannot be started.
        """
        answer: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        await self._asked.put((file, answer))
        await answer

    async def wanted(self, stop: asyncio.Event) -> Path | None:
        """The next bench that is asked for; None at the stop."""
        asked, stopped = asyncio.create_task(self._asked.get()), asyncio.create_task(stop.wait())
        await asyncio.wait((asked, stopped), return_when=asyncio.FIRST_COMPLETED)
        for task in (asked, stopped):
            task.cancel()
        if stop.is_set() or asked.cancelled() or not asked.done():
            return None
        file, self._answer = asked.result()
        return file

    def runs(self) -> None:
        """It is under way."""
        self.running = True
        if self._answer is not None and not self._answer.done():
            self._answer.set_result(None)

    def failed(self, error: Exception) -> None:
        """It cannot be."""
        if self._answer is not None and not self._answer.done():
            self._answer.set_exception(error)


async def run_setup(folder: Path, port: int) -> None:
    """Serve the setup page until a bench was started and has ended, or until a signal.

    Args:
        folder: where bench files are read and written.
        port: of the page; 0 takes a free one.

    Raises:
        InputImpossible: there is no such folder.
        SteadyohmError: the port cannot be had.
    """
    folder = await asyncio.to_thread(_there, folder)
    about = About("setup", Purpose.FINAL, "", "", SOFTWARE)
    page = open_page(Address(HOST, port, folder / "page-token"), View(about), "setup")
    stop, read_again, ended = asyncio.Event(), asyncio.Event(), asyncio.Event()
    console = BenchConsole()
    started, clock = Started(), RealClock()
    page.stream.utc_s = clock.utc_s
    setup = Setup(folder, page.stream, clock, _look, _write_at(page.port), started.start)
    page.pages.gets["/setup"] = setup.state
    page.pages.posts.update(setup.posts())
    page.pages.posts["/sheet"] = (LARGEST_BYTES, SheetEditor(folder, lambda: all_files(folder)).answer)
    console.print(page.invitation(to_terminal=console.is_terminal))
    with asked_to_end(stop.set), reads_on_hang_up(stop, read_again):
        async with asyncio.TaskGroup() as group:
            group.create_task(page.run(ended), name="page")
            try:
                await _benches(started, page, console, stop, read_again)
            finally:
                setup.close()
                ended.set()


async def _benches(
    started: Started, page: BenchPage, console: BenchConsole, stop: asyncio.Event, read_again: asyncio.Event
) -> None:
    """Run the bench that somebody starts; one that cannot be made is told, and another may be tried."""
    while (file := await started.wanted(stop)) is not None:
        try:
            bench = await asyncio.to_thread(load_bench, file)
            await at_work(bench, console, stop, read_again, page=page, ready=started.runs)
        except (SteadyohmError, MeterError) as error:
            if started.running:
                raise
            started.failed(error)
        else:
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
        wishes = Wishes(
            wanted.name,
            wanted.purpose.value,
            wanted.operator,
            wanted.batch,
            wanted.sheet,
            wanted.model,
            20.0 if wanted.celsius is None else wanted.celsius,
            wanted.self_check,
            port,
        )
        others = wanted.others if wanted.celsius is None else ()  # a temperature that was typed counts
        thermometers = [each for each in others if measures_temperature(each)]
        write_new(wanted.file, bench_text_for([wanted.finding, *thermometers], wishes))

    return write
