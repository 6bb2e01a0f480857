"""A gauge study on the bench page: begun from setup, worked by its prompts without a value, then reported.

The page shows what the terminal shows: what to do next, how far from rest, that it is taken. Not for the
measuring (`run`) nor for what is said of it (`report`).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from acquire.clock import Clock
from acquire.errors import SteadyohmError
from acquire.files.settings import load_bench
from acquire.outlets.orders import Order, OrderAnswer, Stop
from acquire.page.backend import About, Asked, Facts, PageBackend, Posted, Unfit, short_text, temperature_due
from acquire.page.bench_page import BenchPage
from acquire.page.papers import study_in
from acquire.page.shelf import Shelf, field
from acquire.page.spoken import Cue, Sound
from acquire.page.telling import Plain
from acquire.page.view import BenchView
from acquire.records import Approach, Code, Event, LeadZero, LiftOff, Notice, Prompt
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.study.begin import Wish, studied
from acquire.study.plan import names_in, parts_named
from acquire.study.run import StudyBench, study_bench
from acquire.study.work import Finished, MeasurementTaken, StudyEvent
from acquire.words.notices import said

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
            field("step", "Bench and step that is studied", choices=steps),
            field("parts", "Units: how many, or their tags with commas", "10"),
            field("operators", "Who measures, with commas"),
            field("trials", "Rounds", "3"),
            field("name", "Name of the study; one that is not complete is continued", "study-1"),
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


def studies(folder: Path, page: BenchPage, clock: Clock, start: Start) -> tuple[Asked, Posted]:
    """What asks for studies on a page, and what begins one."""
    made = StudiesOnPage(folder, page, clock, start)
    return made.asked, made.begin
