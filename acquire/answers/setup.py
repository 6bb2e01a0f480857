"""`steadyohm setup`: the bench page without a bench, to make one; the bench then runs in the same process.

A gauge study may be begun there as well, worked by its prompts without a value, then reported; the page shows
what the terminal shows: what to do next, how far from rest, that it is taken. And commands for a person
without a terminal: an entry in the menu, a bench that starts at log-in. Not for what the setup screen does
(acquire.page.setup) nor for a bench that has its file (bench.run), nor for a study's measuring (study.run).
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import os
import sys
import webbrowser
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from acquire import logs
from acquire.answers import LogLevel, argument, option
from acquire.answers.instruments import bench_text_for, measures_temperature
from acquire.bench.assembly import SOFTWARE
from acquire.bench.run import at_work, reads_on_hang_up
from acquire.clock import Clock, RealClock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.console import BenchConsole
from acquire.outlets.orders import Order, OrderAnswer, Stop
from acquire.page.backend import About, Facts, PageBackend, Unfit, short_text, temperature_due
from acquire.page.bench_page import BenchPage, open_page
from acquire.page.papers import study_in
from acquire.page.serve import address_of
from acquire.page.setup import SettingUp, WantedBench
from acquire.page.sheet_edit import SheetEditor
from acquire.page.shelf import Shelf
from acquire.page.shelf import field as asked_for
from acquire.page.spoken import Cue, Sound
from acquire.page.telling import Plain
from acquire.page.view import BenchView
from acquire.quantity import parse
from acquire.records import Approach, Code, Event, LeadZero, LiftOff, Notice, Prompt, Purpose
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.study.record import names_in, parts_named
from acquire.study.run import StudyBench, Wish, studied, study_bench
from acquire.study.work import Finished, MeasurementTaken, StudyEvent
from acquire.words.notices import said
from drivers.errors import MeterError
from drivers.find import SearchStep, find_meters
from system.desktop import Starter, at_login, has_screen, menu, plain_name
from system.ending import asked_to_end, run_loop
from system.processes import begun

Work = Callable[[asyncio.Event, Callable[[], None]], Awaitable[None]]
"""What can be run until the stop that is given; calls what is given too once it is under way."""

Start = Callable[[Work], Awaitable[None]]

SHOWN = (Approach, LeadZero, LiftOff, Notice, Prompt)
"""Events that tell no value."""


@dataclass(slots=True)
class PageScreen:
    """The page as a study's screen."""

    page: BenchPage
    view: BenchView
    typing: None = None

    def show(self, event: Event) -> None:
        """Show one event of the bench, without its value."""
        if isinstance(event, SHOWN):
            self.page.show(event)

    def tell(self, event: StudyEvent) -> None:
        """Show what has happened in the study."""
        match event:
            case MeasurementTaken():
                self.view.cues.append(Cue(Sound.PASS, "Taken."))
            case Finished():
                self.view.cues.append(Cue(Sound.DONE, "The study is done."))
        self.page.stream.changed()


@dataclass(slots=True)
class StudiesOnPage:
    """Studies of a folder, of which one at a time may be at work.

    Attributes:
        folder: of bench files and of the studies' records.
        page: is served already.
        clock: of the bench.
        start: hands over what is to be run; returns when it runs, or raises why not.
    """

    folder: Path
    page: BenchPage
    clock: Clock
    start: Start

    async def asked(self, words: dict[str, str]) -> Plain:
        """The report of a study, and the form that begins one."""
        return {**await study_in(self.folder, words), "fields": await asyncio.to_thread(self._fields)}

    def _fields(self) -> list[Plain]:
        """What begins a study; steps of every bench file that can be read."""
        steps: list[list[str]] = []
        for bench in Shelf(self.folder).files("bench"):
            with contextlib.suppress(SteadyohmError, OSError):
                can = studied(load_sheet(load_bench(bench.path).sheet))
                steps += [[f"{bench.file} {each.name}", f"{bench.name}: {each.name}"] for each in can]
        return [
            asked_for("step", "Bench and step that is studied", choices=steps),
            asked_for("parts", "Units: how many, or their tags with commas", "10"),
            asked_for("operators", "Who measures, with commas"),
            asked_for("trials", "Rounds", "3"),
            asked_for("name", "Name of the study; one that is not complete is continued", "study-1"),
        ]

    async def begin(self, body: Plain) -> Plain:
        """Begin a study, or go on with one."""
        name, trials = short_text(body, "name"), short_text(body, "trials", "3")
        file, ending, step = short_text(body, "step").partition(".toml ")
        bench = Shelf(self.folder).chosen(f"{file}{ending.strip()}", "bench").path
        if not name or Path(name).name != name or name.startswith(".") or not trials.isdecimal():
            raise Unfit("Name the study, such as study-1, and how many rounds, such as 3.")
        parts, operators = short_text(body, "parts"), names_in(short_text(body, "operators"))
        given = parts_named(parts) if parts else ()
        to = self.folder / f"{name.removesuffix('.jsonl')}.jsonl"
        wish = Wish(bench, None, step, given, operators, int(trials), None, to)
        await self.start(lambda stop, ready: self._run(wish, stop, ready))
        return {"name": to.name}

    async def _run(self, wish: Wish, stop: asyncio.Event, ready: Callable[[], None]) -> None:
        """Measure until nothing is missing or the stop is set; the page is setup's again afterwards."""
        page, ended = self.page, asyncio.Event()
        before = page.pages.backend, page.stream.view, "setup"
        with contextlib.ExitStack() as open_files:
            bench, notices = study_bench(open_files, wish, self.clock, ended)
            view = BenchView(_about(bench))
            view.on(PairTable(bench.work.place.sheet))
            bench.screen = PageScreen(page, view)
            page.put_backend(self._backend(bench), view)
            ready()
            watch = asyncio.create_task(_both(stop, ended), name="study stop")
            try:
                await bench.run(notices)
            finally:
                watch.cancel()
                page.put_backend(*before)

    def _backend(self, bench: StudyBench) -> PageBackend:
        async def obey(order: Order) -> OrderAnswer:
            if isinstance(order, Stop):
                bench.stop.set()
                return OrderAnswer(done=True)
            told = [each for each in await bench.obey(order) if isinstance(each, Notice)]
            refused = next((each for each in told if each.code is Code.COMMAND_REFUSED), None)
            return OrderAnswer(done=refused is None, reason="" if refused is None else said(refused))

        def facts() -> Facts:
            now_s = self.clock.utc_s()
            return Facts(now_s, list(temperature_due(bench.work.conditions, now_s)))

        asks = {"/study": partial(study_in, self.folder)}
        return PageBackend(self.clock.utc_s, self.clock.monotonic_s, facts, obey, may_stop=True, asks=asks)


async def _both(stop: asyncio.Event, ended: asyncio.Event) -> None:
    await stop.wait()
    ended.set()


def _about(bench: StudyBench) -> About:
    place = bench.work.place
    meter = f"{place.meter_id} ({place.meter_model})"
    return About(f"{place.bench}, gauge study", place.purpose, meter, "", place.software, study=True)


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
            studies = StudiesOnPage(folder, page, clock, works.start)
            asks = {"/setup": setup.state, "/study": studies.asked}
            posts = {
                **setup.posts(),
                "/sheet": SheetEditor(folder, setup.shelf).answer,
                "/study": studies.begin,
            }
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
    folder: Annotated[Path, option("Where bench files are looked for and written.")] = Path(),
    port: Annotated[int, option("TCP port of the page; 0 takes a free one.", min=0, max=65535)] = 8480,
    browser: Annotated[
        bool | None,
        option("Open the page in a browser; default: from a terminal.", "--browser/--no-browser"),
    ] = None,
    log_level: LogLevel = "warning",
) -> None:
    """Make a bench in the browser: find the meter, choose the sheet, test the link, start."""
    logs.set_up(level=log_level)
    run_loop(run_setup(folder, port, browser=browser))


TITLE = "steadyohm"


def in_menu(folder: Path) -> Starter:
    """The setup page, in a folder of bench files."""
    return menu(_words("setup", "--browser", "--folder", str(folder.resolve())), TITLE, os.environ)


def bench_at_login(bench: Path) -> Starter:
    """One bench, by its file."""
    place = str(bench.resolve())
    digest = hashlib.sha256(place.encode("utf-8", "surrogateescape")).hexdigest()[:6]  # another of its name
    name = f"{plain_name(bench.stem)}-{digest}"
    return at_login(name, _words("run", place), f"{TITLE} {name}", os.environ)


def _words(*words: str) -> tuple[str, ...]:
    """This program as it runs now; -P: a user's own folder named acquire is not ours."""
    return (sys.executable, "-P", "-m", "acquire", *words)


BENCH = Annotated[Path, argument("Bench file that a page or a person has made.")]
SETUP_FOLDER = Annotated[
    Path | None, option("Of bench files; default: steadyohm in your own folder.", "--folder")
]


def install_shortcut(folder: SETUP_FOLDER = None) -> None:
    """Put an entry into the menu that opens the setup page in a browser."""
    place = folder or Path.home() / "steadyohm"
    place.mkdir(parents=True, exist_ok=True)
    _put(in_menu(place), "Its entry is in the menu")


def remove_shortcut() -> None:
    """Take that entry out of the menu again."""
    _taken(in_menu(Path()), "the menu")


def install_at_login(bench: BENCH) -> None:
    """Let a bench start whenever you log in."""
    from acquire.files.settings import load_bench

    load_bench(bench)  # one that cannot be used is refused now, not at the next log-in
    _put(bench_at_login(bench), "It starts at your next log-in")


def remove_at_login(bench: BENCH) -> None:
    """Let a bench start at log-in no longer."""
    _taken(bench_at_login(bench), "what starts at log-in")


def _put(starter: Starter, what: str) -> None:
    with _told("installed"):
        typer.echo(f"{what}: {starter.put()}")


def _taken(starter: Starter, where: str) -> None:
    with _told("removed"):
        typer.echo("Removed." if starter.take_away() else f"There was nothing of it in {where}.")


@contextmanager
def _told(done: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputImpossible(f"It cannot be {done} ({error.strerror or error}).") from error
