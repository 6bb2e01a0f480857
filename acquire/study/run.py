"""`steadyohm study`, begun or gone on with: instruments of the bench file, the study's work, file and screen.

The way of the readings is the bench's own: the same drivers, the same settle stage, the same corrections.
Ends when nothing is missing, or on Ctrl-C; the same command goes on if nothing has changed meanwhile. Not for
reports (`report`).
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

from rich.text import Text

from acquire.bench.assembly import Files, first_conditions, read_files
from acquire.bench.intake import Feed, ScannerFeed, feeds_of, ohmmeter, scanner
from acquire.bench.keyboard import Keyboard
from acquire.bench.self_check import mark_of, stand_before
from acquire.clock import Clock, RealClock
from acquire.errors import InputImpossible, SteadyohmError
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
    Sheet,
    Step,
    TypeTemperature,
)
from acquire.sheets import load_sheet
from acquire.steps.pairs import PairTable
from acquire.steps.setup_choice import quantity_for
from acquire.study.record import StudyFile, Subject, begun, plan_of, read_study, resumed
from acquire.study.work import Finished, MeasurementTaken, StudyEvent, StudyWork, TakenBack
from acquire.words.prompts import asked
from drivers.plain_file import refuse_no_file
from drivers.reading import Quantity, Reading
from system.ending import asked_to_end


@dataclass(frozen=True, slots=True)
class Wish:
    """What was asked for on the command line.

    Attributes:
        bench: bench file.
        sheet: in place of the bench's own; None takes that.
        step: name of the step; empty takes the only one there is, or that of the file.
        parts, operators: names; empty when a study goes on.
        trials: of each part by each operator.
        seed: of the order; None draws one.
        to: file of the record.
    """

    bench: Path
    sheet: Path | None
    step: str
    parts: Sequence[str]
    operators: Sequence[str]
    trials: int
    seed: int | None
    to: Path


def studied(sheet: Sheet) -> list[Step]:
    """The steps that a study can be of."""
    return [step for step in sheet.steps if step.conducts]


def step_named(files: Files, name: str) -> Step:
    """The step of the sheet that is to be studied. Raises InputImpossible."""
    can = studied(files.place.sheet)
    found = next((step for step in can if step.name == name), None)
    if found is None and not name and len(can) == 1:
        return can[0]
    if found is None:
        there = ", ".join(f'"{step.name}"' for step in can) or "none"
        asked = f'no step "{name}" that is measured in ohms' if name else "more than one step to choose from"
        raise InputImpossible(f"{files.place.sheet.name} has {asked}.", f"Give --step; there are: {there}.")
    return found


def record_of(open_files: contextlib.ExitStack, wish: Wish, files: Files, clock: Clock) -> StudyFile:
    """The file of the study, begun or gone on with."""
    if _begun_before(wish.to):
        record = read_study(wish.to)
        subject = _subject(files, step_named(files, record.subject.step))
        _refuse_another(wish, record.subject, subject)
        _refuse_other_plan(wish, record.plan.operators, [part.name for part in record.plan.parts])
        return open_files.enter_context(resumed(wish.to))
    if not wish.parts or not wish.operators:
        raise InputImpossible("Who measures what?", "Give --parts and --operators.")
    subject = _subject(files, step_named(files, wish.step))
    seed = random.SystemRandom().randrange(1_000_000) if wish.seed is None else wish.seed
    plan = plan_of(wish.parts, wish.operators, wish.trials, seed)
    return open_files.enter_context(begun(wish.to, subject, plan, clock.utc_s()))


def _begun_before(path: Path) -> bool:
    """Whether there is a record with its first line at least."""
    try:
        refuse_no_file(path)
        with path.open("rb") as file:
            return b"\n" in file.readline()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise InputImpossible(
            f"{path} cannot be read ({error.strerror}).", "Name another with --to."
        ) from error


def _subject(files: Files, step: Step) -> Subject:
    """What is measured, where and with what."""
    place, table = files.place, PairTable(files.place.sheet)
    nominal_ohm = table.nominal_ohm(step.pair)
    limits = table.limits_for(step, place.purpose)
    quantity = quantity_for(step, nominal_ohm, files.bench.meter.four_wire_below)
    return Subject(
        bench=place.bench,
        purpose=place.purpose.value,
        sheet=place.sheet.name,
        sheet_hash=place.sheet.content_hash,
        step=step.name,
        pin_a=step.pair.a,
        pin_b=step.pair.b,
        nominal_ohm=nominal_ohm,
        lower_ohm=limits.lower_ohm,
        upper_ohm=limits.upper_ohm,
        reference_celsius=place.sheet.reference_celsius,
        four_wire=quantity is Quantity.RESISTANCE_4W,
        meter=place.meter_model,
        meter_hash=place.meter_hash,
        software=place.software,
    )


def _refuse_another(wish: Wish, before: Subject, now: Subject) -> None:
    """A study that goes on must measure the same thing in the same way."""
    if wish.step and wish.step != before.step:
        raise InputImpossible(
            f'{wish.to} is a study of the step "{before.step}".', "Name another file with --to."
        )
    changed = [
        words
        for name, words in (
            ("bench", "the bench"),
            ("sheet_hash", f"the sheet {before.sheet}"),
            ("meter_hash", f"the meter file {before.meter}"),
            ("four_wire", "two or four wires"),
        )
        if getattr(before, name) != getattr(now, name)
    ]
    if changed:
        raise InputImpossible(
            f"{' and '.join(changed)} changed since {wish.to} was begun.".capitalize(),
            "Put it back, or begin a new study with --to.",
        )


def _refuse_other_plan(wish: Wish, operators: Sequence[str], parts: Sequence[str]) -> None:
    """What is typed when a study goes on must not say something else."""
    if (wish.operators and list(wish.operators) != list(operators)) or (
        wish.parts and list(wish.parts) != list(parts)
    ):
        raise InputImpossible(
            f"{wish.to} is a study with other parts or operators.",
            "Leave --parts and --operators out to go on with it, or name another file with --to.",
        )


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
        InputImpossible: the step or the plan cannot be, or the record cannot be written, is none, or is of
            something else.
    """
    stop, console = asyncio.Event(), BenchConsole()
    with contextlib.ExitStack() as open_files:
        bench, notices = study_bench(open_files, wish, RealClock(), stop)
        record = bench.file.record
        labels = ", ".join(f"{part.name} → {part.label}" for part in record.plan.parts)
        console.print(f"Labels of the parts, drawn by chance: {labels}")
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
        FileInvalid, ModelInvalid, InputImpossible: as `run_study`.
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
        """Measure until nothing is missing or the stop is set. Raises InputImpossible."""
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
                self._settling = f"settling  {rest_bar(event.unrest)}"
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
