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

from acquire.bench.assembly import first_conditions, read_files
from acquire.bench.doubts import DisplayDoubts
from acquire.bench.instruments import ohmmeter, scanner, thermometer
from acquire.bench.intake import Feed
from acquire.bench.keyboard import Keyboard, to_command
from acquire.bench.scanning import ScannerFeed
from acquire.bench.self_check import mark_of, stand_before
from acquire.clock import Clock, RealClock
from acquire.errors import InputImpossible, SteadyohmError
from acquire.files.settings import Bench, load_bench
from acquire.files.statements import ModelStatements
from acquire.outlets.console import BenchConsole
from acquire.records import Code, Command, Event, Notice, Prompt, TypeTemperature, Weight
from acquire.sheets import load_sheet
from acquire.study.begin import Wish, record_of, step_named
from acquire.study.record import StudyFile, part_names
from acquire.study.screen import StudyScreen
from acquire.study.work import Finished, Happening, StudyWork, Taken, TakenBack
from drivers.reading import Reading
from system.ending import asked_to_end

TICK_S = 0.25
"""How often the study is told the time, real seconds."""


async def run_study(wish: Wish) -> Path:
    """Begin or go on with a study, until it is done or somebody stops it.

    Returns:
        The file of the record.

    Raises:
        FileInvalid, ModelInvalid: bench file, sheet or meter file cannot be used.
        StudyFileInvalid: the record cannot be written, or is none.
        StudyChanged: the record is of something else.
        InputImpossible: the step or the plan cannot be.
    """
    bench, clock, stop = load_bench(wish.bench), RealClock(), asyncio.Event()
    files = read_files(bench, clock)
    if wish.sheet is not None:
        files = replace(files, place=replace(files.place, sheet=load_sheet(wish.sheet)))
    console = BenchConsole()
    with contextlib.ExitStack() as open_files:
        file = record_of(open_files, wish, files, clock)
        record = file.record
        sheet = replace(files.place.sheet, steps=(step_named(files, record.subject.step),))
        limits = files.limits
        work = StudyWork(
            replace(files.place, sheet=sheet),
            ModelStatements(files.model),
            first_conditions(bench, clock),
            record.plan,
            set(record.taken),
            settle=limits["settle"],
            four_wire_below_ohm=limits["four_wire_below_ohm"],
        )
        console.print(f"Labels of the parts, drawn by chance: {part_names(record.plan.parts)}")
        console.print(f"{len(record.taken)} of {len(record.plan.turns)} measured; the record is {wish.to}.")
        with StudyScreen(console) as screen, asked_to_end(stop.set):
            await StudyBench(work, file, screen, clock, stop, bench).run(files.notices)
    left = len(record.missing)
    console.print(
        f"Stopped with {left} left: the same command goes on." if left else "The study is complete."
    )
    return wish.to


@dataclass(slots=True)
class StudyBench:
    """A study with its instruments.

    Attributes:
        work: what is done with readings.
        file: its record.
        screen: its terminal.
        clock: of the bench.
        stop: ends it.
        bench: names the instruments.
        display: shows prompts; a self-check keeps them back until it is passed.
    """

    work: StudyWork
    file: StudyFile
    screen: StudyScreen
    clock: Clock
    stop: asyncio.Event
    bench: Bench
    display: Callable[[Event], None] = field(init=False)
    _failed: SteadyohmError | None = None

    def __post_init__(self) -> None:
        """Prompts go straight to the screen, unless a self-check comes first."""
        self.display = self.screen.show

    async def run(self, notices: Sequence[Notice]) -> None:
        """Measure until nothing is missing or the stop is set. Raises StudyFileInvalid."""
        if not self.file.record.missing:
            return
        for notice in notices:
            self.screen.show(notice)
        feeds = self._feeds()
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(feed.run(), name=feed.name) for feed in feeds]
            tasks.append(group.create_task(self._tick(), name="ticks"))
            tasks.append(group.create_task(self._typed(), name="keyboard"))
            if (named := scanner(self.bench, self.clock)) is not None:
                scans = ScannerFeed(named, self.clock, self._obey, self._tell)
                tasks.append(group.create_task(scans.run(), name="scanner"))
            await self.stop.wait()
            for task in tasks:
                task.cancel()
        if self._failed is not None:
            raise self._failed

    # ------------------------------------------------------------------ in

    async def _take(self, reading: Reading) -> None:
        self._out(self.work.feed(reading))

    async def _take_temperature(self, reading: Reading) -> None:
        self._out(self.work.feed_temperature(reading, self.bench.temperature.standard_uncertainty_kelvin))

    async def _tell(self, notice: Notice) -> None:
        self.screen.show(notice)

    async def _obey(self, command: Command) -> list[Event]:
        u_kelvin = self.bench.temperature.standard_uncertainty_kelvin
        if isinstance(command, TypeTemperature) and command.standard_uncertainty_kelvin is None:
            command = replace(command, standard_uncertainty_kelvin=u_kelvin)
        self._out(self.work.command(command, self.clock.utc_s()))
        return []

    async def _tick(self) -> None:
        while True:
            self._out(self.work.tick(self.clock.monotonic_s(), self.clock.utc_s()))
            await asyncio.sleep(TICK_S)

    async def _typed(self) -> None:
        """Follow the keyboard. Its end is none of the study's: pedal and scanner may be elsewhere."""
        async for line in Keyboard(self.screen.typing).lines():
            try:
                command = to_command(line)
            except InputImpossible as error:
                told = {"said": error.what}
                self.screen.show(Notice(Weight.WARNING, Code.COMMAND_UNKNOWN, self.clock.utc_s(), facts=told))
                continue
            if command is None:
                self.screen.show(Notice(Weight.REMARK, Code.STUDY_HELP, self.clock.utc_s()))
            else:
                await self._obey(command)

    # ------------------------------------------------------------------ out

    def _out(self, happenings: Sequence[Happening]) -> None:
        """On the disk first, then on the screen."""
        if self.stop.is_set():
            return
        for happening in happenings:
            try:
                if isinstance(happening, Taken):
                    self.file.take(happening.measurement)
                elif isinstance(happening, TakenBack):
                    self.file.take_back(happening.turn.number)
            except SteadyohmError as error:
                self._failed = error
                self.stop.set()
                return
            if isinstance(happening, Prompt):
                self.display(happening)
            else:
                self.screen.tell(happening)
            if isinstance(happening, Finished):
                self.stop.set()

    # ------------------------------------------------------------------ instruments

    def _feeds(self) -> list[Feed]:
        """The instruments of the bench file, not yet opened."""
        settings = self.bench.meter
        meter = Feed(
            "meter",
            ohmmeter(self.bench, self.clock),
            self.clock,
            self._take,
            self._tell,
            self.work.link_lost,
            lambda: self.work.wanted,
            settings.integration_plc,
            settings.offset_compensation,
            DisplayDoubts(lambda: self.work.meter),
        )
        feeds = [meter]
        if settings.self_check is not None:
            mark = mark_of(settings, self.work.place.software)
            self.display = stand_before(meter, settings, mark, self.screen.show, lambda: None).display
        if (air := thermometer(self.bench, self.clock)) is not None:
            feeds.append(Feed("thermometer", air, self.clock, self._take_temperature, self._tell))
        return feeds
