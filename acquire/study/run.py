"""`steadyohm study`, the measuring: instruments of the bench file, the study's work, its file and its screen.

The way of the readings is the bench's own: the same drivers, the same settle stage, the same corrections.
Ends when nothing is missing, or on Ctrl-C; the same command goes on. Not for reports (`report`).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from rich.text import Text

from acquire.bench.assembly import first_conditions, read_files
from acquire.bench.intake import Feed, ScannerFeed, feeds_of, ohmmeter, scanner
from acquire.bench.keyboard import Keyboard
from acquire.bench.self_check import mark_of, stand_before
from acquire.clock import Clock, RealClock
from acquire.errors import SteadyohmError
from acquire.files.settings import Bench, load_bench
from acquire.heart.standstill import ReadElsewhere
from acquire.outlets.console import BenchConsole
from acquire.outlets.terminal import Terminal, rest_bar
from acquire.records import (
    Approach,
    Code,
    Command,
    Event,
    LeadZero,
    LiftOff,
    Notice,
    Prompt,
    TypeTemperature,
)
from acquire.sheets import load_sheet
from acquire.study.begin import Wish, record_of, step_named
from acquire.study.record import StudyFile, part_names
from acquire.study.work import Finished, MeasurementTaken, StudyEvent, StudyWork, TakenBack
from acquire.words.prompts import asked
from drivers.reading import Reading
from system.ending import asked_to_end

TICK_S = 0.25
"""How often the study is told the time, real seconds."""


class Screen(Protocol):
    """Where a study is shown."""

    @property
    def typing(self) -> Callable[[str], None] | None:
        """What the keyboard's line is shown by; None where nobody types."""

    def show(self, event: Event) -> None:
        """Show one event of the bench, without its value."""

    def tell(self, event: StudyEvent) -> None:
        """Show what has happened in the study."""


async def run_study(wish: Wish) -> Path:
    """Begin or go on with a study at the terminal, until it is done or somebody stops it.

    Returns:
        The file of the record.

    Raises:
        FileInvalid, ModelInvalid: bench file, sheet or meter file cannot be used.
        StudyFileInvalid: the record cannot be written, or is none.
        StudyChanged: the record is of something else.
        InputImpossible: the step or the plan cannot be.
    """
    stop, console = asyncio.Event(), BenchConsole()
    with contextlib.ExitStack() as open_files:
        bench, notices = study_bench(open_files, wish, RealClock(), stop)
        record = bench.file.record
        console.print(f"Labels of the parts, drawn by chance: {part_names(record.plan.parts)}")
        console.print(f"{len(record.taken)} of {len(record.plan.turns)} measured; the record is {wish.to}.")
        with StudyScreen(console) as bench.screen, asked_to_end(stop.set):
            await bench.run(notices)
    left = len(record.missing)
    console.print(
        f"Stopped with {left} left: the same command continues it." if left else "The study is complete."
    )
    return wish.to


def study_bench(
    open_files: contextlib.ExitStack, wish: Wish, clock: Clock, stop: asyncio.Event
) -> tuple[StudyBench, Sequence[Notice]]:
    """A study with its instruments, not yet opened and without a screen, and what is to be told at first.

    Raises:
        FileInvalid, ModelInvalid, StudyFileInvalid, StudyChanged, InputImpossible: as `run_study`.
    """
    bench = load_bench(wish.bench)
    files = read_files(bench, clock)
    if wish.sheet is not None:
        files = replace(files, place=replace(files.place, sheet=load_sheet(wish.sheet)))
    file = record_of(open_files, wish, files, clock)
    record, limits = file.record, files.limits
    work = StudyWork(
        replace(
            files.place,
            sheet=replace(files.place.sheet, steps=(step_named(files, record.subject.step),)),
        ),
        files.model,
        first_conditions(bench, clock),
        record.plan,
        set(record.taken),
        settle=limits["settle"],
        four_wire_below_ohm=limits["four_wire_below_ohm"],
    )
    return StudyBench(work, file, clock, stop, bench), files.notices


@dataclass(slots=True)
class StudyBench:
    """A study with its instruments.

    Attributes:
        work: what is done with readings.
        file: its record.
        clock: of the bench.
        stop: ends it.
        bench: names the instruments.
        screen: set before it runs.
        display: shows prompts; a self-check keeps them back until it is passed.
    """

    work: StudyWork
    file: StudyFile
    clock: Clock
    stop: asyncio.Event
    bench: Bench
    screen: Screen = field(init=False)
    display: Callable[[Event], None] = field(init=False)
    _failed: SteadyohmError | None = None

    async def run(self, notices: Sequence[Notice]) -> None:
        """Measure until nothing is missing or the stop is set. Raises StudyFileInvalid."""
        self.display = self.screen.show
        if not self.file.record.missing:
            return
        for notice in notices:
            self.screen.show(notice)
        feeds = self._feeds()
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(feed.run(), name=feed.name) for feed in feeds]
            tasks.append(group.create_task(self._tick(), name="ticks"))
            if (typing := self.screen.typing) is not None:
                keys = Keyboard(typing).followed(self.obey, self._tell, self.clock, Code.STUDY_HELP)
                tasks.append(group.create_task(keys, name="keyboard"))  # it may end: pedals may be elsewhere
            if (named := scanner(self.bench, self.clock)) is not None:
                scans = ScannerFeed("scanner", named, self.clock, self.obey, self._tell)
                tasks.append(group.create_task(scans.run(), name="scanner"))
            await self.stop.wait()
            for task in tasks:
                task.cancel()
        if self._failed is not None:
            raise self._failed

    # ------------------------------------------------------------------ in

    async def _take(self, reading: Reading) -> None:
        self._out(self.work.feed(reading))

    async def _take_temperature(self, reading: Reading, feed: str) -> None:  # noqa: ARG002  (one of two)
        self._out(self.work.feed_temperature(reading, self.bench.temperature.standard_uncertainty_kelvin))

    async def _tell(self, notice: Notice) -> None:
        self.screen.show(notice)

    async def obey(self, command: Command) -> list[Event]:
        """Carry out what somebody wants; gives what is told of it."""
        u_kelvin = self.bench.temperature.standard_uncertainty_kelvin
        if isinstance(command, TypeTemperature) and command.standard_uncertainty_kelvin is None:
            command = replace(command, standard_uncertainty_kelvin=u_kelvin)
        events = self.work.command(command, self.clock.utc_s())
        self._out(events)
        return [each for each in events if isinstance(each, Notice)]

    async def _tick(self) -> None:
        while True:
            self._out(self.work.tick(self.clock.monotonic_s(), self.clock.utc_s()))
            await asyncio.sleep(TICK_S)

    # ------------------------------------------------------------------ out

    def _out(self, events: Sequence[StudyEvent]) -> None:
        """On the disk first, then on the screen."""
        if self.stop.is_set():
            return
        for event in events:
            try:
                if isinstance(event, MeasurementTaken):
                    self.file.take(event.measurement)
                elif isinstance(event, TakenBack):
                    self.file.take_back(event.turn.number)
            except SteadyohmError as error:
                self._failed = error
                self.stop.set()
                return
            if isinstance(event, Prompt):
                self.display(event)
            else:
                self.screen.tell(event)
            if isinstance(event, Finished):
                self.stop.set()

    # ------------------------------------------------------------------ instruments

    def _heard(self) -> None:
        """The self-check has had a reading."""
        self.work.told_of_meter(ReadElsewhere(self.clock.monotonic_s()))

    def _feeds(self) -> list[Feed]:
        """The instruments of the bench file, not yet opened."""
        bench, clock, settings = self.bench, self.clock, self.bench.meter
        feeds = feeds_of(
            bench,
            clock,
            ohmmeter(bench, clock),
            lambda: self.work,
            take=self._take,
            take_temperature=self._take_temperature,
            tell=self._tell,
            lost=self.work.link_lost,
        )
        if settings.self_check is not None:
            mark = mark_of(settings, self.work.place.software)
            self.display = stand_before(feeds[0], settings, mark, self.screen.show, self._heard).display
        return feeds


@dataclass(slots=True)
class StudyScreen(Terminal):
    """Shows a study as it goes.

    Whoever sees the value measures until it suits, so none is shown: how far from rest, and that it is taken.
    """

    def show(self, event: Event) -> None:
        """Show one event of the bench, without its value."""
        match event:
            case Approach():
                self._settling = f"settling  {rest_bar(event.settling_ratio)}"
            case Prompt():
                self._prompted(event)
            case LiftOff():
                self._settling = ""
            case LeadZero() | Notice():
                Terminal.show(self, event)
            case _:
                return
        self._refresh()

    def tell(self, event: StudyEvent) -> None:
        """Show what has happened in the study."""
        match event:
            case MeasurementTaken():
                turn = event.turn
                word = "taken, revised" if event.revised else "taken"
                self._settling = f"{word}: lift"
                self._line(Text(f"  ● {turn.operator}  part {turn.label}  {word}"))
                if self._live is not None:
                    self.console.bell()
            case TakenBack():
                turn = event.turn
                self._line(Text(f"  ○ {turn.operator}  part {turn.label}  taken back: measure it again"))
            case Finished():
                self._line(Text("  ● Nothing is missing: the study is done.", style="bold"))
            case _:
                self.show(event)
                return
        self._refresh()

    def _prompted(self, prompt: Prompt) -> None:
        """Every prompt stands in the lines where no last line lives: nobody else asks for anything."""
        self._prompt = f"{asked(prompt)}  [{prompt.steps_done}/{prompt.steps_total}]"
        if self._live is None:
            self.console.print(Text(f"  → {self._prompt}", style="dim"))
