"""Puts the bench page before a daemon: what it is told, what it may ask, what it may order.

Imported only where a bench has a page, so that no other bench pays for a web server. Not for what the page
shows (acquire.page).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path

from acquire.bench.daemon import Daemon
from acquire.bench.duty_setup import calibration_due
from acquire.bench.publishing import Orders
from acquire.files.bench_tables import TYPED
from acquire.files.network_tables import PageSettings, Speech
from acquire.files.settings import Bench
from acquire.outlets.orders import Desk
from acquire.page.backend import About, Asked, Facts, PageBackend, Posted, temperature_due
from acquire.page.bench_page import BenchPage, open_page
from acquire.page.deliberate import deliberate_tests
from acquire.page.papers import Papers, study_in
from acquire.page.past import Background, Past
from acquire.page.running import Running
from acquire.page.say import Speaker, speaking_program
from acquire.page.sheet_edit import SheetEditor
from acquire.page.telling import Plain, batch_words
from acquire.page.view import BenchView
from acquire.records import Batch, Code, Event, Notice, Recorded, Severity, UnitResult, UnitStarted
from drivers.reading import Reading

TOKEN_FILE = "page-token"  # noqa: S105  (its name)
"""In the folder of the journal, where a bench file names no other."""


WRITTEN_S = 5.0
"""So long the answer to a photo waits until the record has it."""


@dataclass(slots=True)
class Shown:
    """A daemon with its page before it.

    Attributes:
        bench: its file.
        daemon: the bench.
        page: what is looked at.
        view: what it shows.
        past: questions to the record.
    """

    bench: Bench
    daemon: Daemon
    page: BenchPage
    view: BenchView
    past: Past
    _counting: set[asyncio.Task[None]] = field(default_factory=set)
    _counted: asyncio.Task[None] | None = None  # the latest of them

    # ------------------------------------------------------------------ what comes in

    def show(self, event: Event) -> None:
        """An event on its way to the page."""
        if isinstance(event, Notice) and event.code is Code.FILES_TAKEN:
            about = about_of(self.bench, self.daemon, self.view.about.speed)
            self.view.on(self.daemon.pipeline.table, about)
        self._asks()
        self.page.show(event)
        if isinstance(event, UnitStarted | Batch | UnitResult):
            self.count(event.batch)

    def _asks(self) -> None:
        """What waits for an answer, and whether something can be taken back."""
        self.view.asks(self.daemon.pipeline.question, undoable=self.daemon.pipeline.undoable)

    def resumed(self, records: Sequence[Recorded]) -> None:
        """A unit that a power cut interrupted is back on the bench."""
        self._asks()
        self.view.resume(records)
        self.page.stream.changed()

    def see_readings(self) -> None:
        """Let the page see what the ohms meter sends, before anybody else takes it."""
        feed = self.daemon.feeds[0]
        take = feed.take

        async def seen(reading: Reading) -> None:
            self.page.see(reading, self.daemon.pipeline.wanted.quantity)
            await take(reading)

        feed.take = seen

    # ------------------------------------------------------------------ batches

    async def begin(self, _stop: asyncio.Event) -> None:
        """The daemon has taken up what was under way: show the batch that units belong to."""
        self.count(self.batch)

    @property
    def batch(self) -> str:
        """That units belong to now."""
        pipeline = self.daemon.pipeline
        unit = None if pipeline.unit is None else pipeline.unit.started.batch
        return unit or pipeline.batches.running or pipeline.place.batch

    def count(self, name: str) -> None:
        """See how far a batch has come, from the record; the bench goes on meanwhile."""
        task = asyncio.get_running_loop().create_task(self._count(name), name="page batch")
        self._counting = {task, *(each for each in self._counting if not each.done())}
        self._counted = task

    async def _count(self, name: str) -> None:
        results = await asyncio.to_thread(self.past.results_of_batch, name) if name else []
        if asyncio.current_task() is self._counted:  # else another is under way, which knows more
            known = self.daemon.pipeline.batches.known.get(name)
            self.view.count(batch_words(name, known, results) if name else None)
            self.page.stream.changed()

    # ------------------------------------------------------------------ facts

    def facts(self) -> Facts:
        """What the bench knows of itself now."""
        daemon, pipeline = self.daemon, self.daemon.pipeline
        lead, check = pipeline.conditions.lead, pipeline.duties.check
        return Facts(
            daemon.clock.utc_s(),
            list(self._due()),
            lead_utc_s=None if lead is None else lead.utc_s,
            check_utc_s=None if check is None else check.last_utc_s,
            learned=asdict(learned) if (learned := pipeline.learning.recorded).contacts else {},
        )

    def _due(self) -> Iterator[Notice]:
        """What speaks against the bench now."""
        daemon, pipeline, now_s = self.daemon, self.daemon.pipeline, self.daemon.clock.utc_s()
        conditions, check = pipeline.conditions, pipeline.duties.check
        stop, warn = (partial(Notice, each) for each in (Severity.STOP, Severity.WARNING))
        latest_s = daemon.latest_s.get("meter")
        if latest_s is not None and daemon.clock.monotonic_s() - latest_s > pipeline.settling.patience_s:
            yield warn(Code.METER_SILENT, now_s)
        if daemon.halted:
            yield stop(Code.JOURNAL_HALTED, now_s)
        if conditions.lead_wanted and conditions.lead_zero_due(now_s):
            yield warn(Code.LEADS_NONE if conditions.lead is None else Code.LEADS_OLD, now_s)
        yield from temperature_due(conditions, now_s)
        due = calibration_due(self.bench, pipeline.meter)
        if due is not None and due.past(now_s):
            yield warn(Code.CALIBRATION_DUE, now_s, facts=due.facts(now_s))
        if check is not None and (check.blocked or check.due(now_s)):
            told, code = (stop, Code.CHECK_OUT) if check.blocked else (warn, Code.CHECK_DUE)
            yield told(code, now_s, facts={"resistor": check.resistor.name})
        for each in daemon.healths:
            if each.failing:
                facts = {"outlet": each.name, "cause": each.failing}
                yield warn(Code.OUTLET_FAILING, now_s, facts=facts)

    async def tests(self, _words: dict[str, str]) -> Plain:
        """The deliberate tests of the unit on the bench, or the last one."""
        pipeline = self.daemon.pipeline
        place, typed = pipeline.place, pipeline.duties.visit.typed
        return deliberate_tests(
            place.sheet, place.purpose, self.view.serial, typed, pipeline.habit.instrument
        )

    async def photographed(self, serial: str, sha256: str) -> None:
        """Put a photo of a unit on the record, and wait until it is there."""
        daemon, facts = self.daemon, {"sha256": sha256}
        await daemon.tell(Notice(Severity.INFO, Code.PHOTO_KEPT, daemon.clock.utc_s(), serial, facts=facts))
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(WRITTEN_S):
                await daemon.written()


def open_for(bench: Bench, settings: PageSettings) -> BenchPage:
    """Take the address that a bench file gives its page.

    Raises:
        SteadyohmError: it cannot be had, or the token cannot.
    """
    token_file = Path(settings.token_file or Path(bench.journal.folder) / TOKEN_FILE)
    view = BenchView(About(bench.name, bench.purpose, bench.meter.id, bench.operator, ""))
    page = open_page(settings.host, settings.port, token_file, view, names=settings.names)
    if settings.speech is Speech.MACHINE and (program := speaking_program()) is not None:
        page.speaker = Speaker(program)
    return page


def stand_behind(page: BenchPage, bench: Bench, daemon: Daemon, stop: asyncio.Event, speed: float) -> Shown:
    """Let a daemon stand behind a page from now on.

    Args:
        page: bound, running already or not.
        bench: the bench's file.
        daemon: assembled, not yet running.
        stop: ends the bench, should the page order it.
        speed: of the bench's clock.
    """
    view = BenchView(about_of(bench, daemon, speed))
    view.on(daemon.pipeline.table)
    past = Past(Path(bench.journal.folder), bench.name)
    shown = Shown(bench, daemon, page, view, past)
    daemon.subscribers.append(shown.show)
    daemon.resumed = shown.resumed
    view.know(shown.facts())
    page.put_backend(_backend(shown, stop), view)
    if bench.page is not None and bench.page.speech is Speech.MACHINE and page.speaker is None:
        mute = Notice(Severity.INFO, Code.PAGE_MUTE, daemon.clock.utc_s())
        daemon.first_notices = [*daemon.first_notices, mute]
    daemon.displays["page batch"] = shown.begin
    return shown


def _backend(shown: Shown, stop: asyncio.Event) -> PageBackend:
    """All that the page can ask of the daemon."""
    bench, daemon, past, asked = shown.bench, shown.daemon, shown.past, Background().asked
    running = Running(Path(bench.file), lambda: daemon.read_files())  # noqa: PLW0108  (it is set later)
    papers = Papers(Path(bench.journal.folder), Path(bench.file), shown.photographed)
    editor = SheetEditor(running.file.parent, running.shelf, running.again)
    asks: dict[str, Asked] = {
        "/unit": asked(past.unit),
        "/units": asked(past.units),
        "/check": asked(past.check),
        "/leads": asked(past.leads),
        "/settings": asked(running.state),
        "/tests": shown.tests,
        "/batch": lambda words: papers.batch({"name": shown.batch, **words}),
        "/returned": papers.returned,
        "/study": partial(study_in, running.file.parent),
        "/paper": papers.paper,
        "/photo": papers.photo,
    }
    posts: dict[str, Posted] = {
        "/settings": running.change,
        "/sheet": editor.answer,
        "/papers": papers.issue,
        "/photos": papers.keep_photo,
    }
    orders = bench.page is None or bench.page.commands
    return PageBackend(
        daemon.clock.utc_s,
        daemon.clock.monotonic_s,
        shown.facts,
        Orders(daemon, stop, "page") if orders else None,
        may_stop=bench.page is not None and bench.page.stop,
        desk=Desk.kept(daemon.journal.path.parent),
        asks=asks,
        posts=posts if orders else {},
    )


def about_of(bench: Bench, daemon: Daemon, speed: float) -> About:
    """What the page says of a bench."""
    place, settings = daemon.pipeline.place, bench.page
    return About(
        name=place.bench,
        purpose=place.purpose,
        meter=f"{place.meter_id} ({place.meter_model})",
        operator=place.operator,
        software=place.software,
        speech="browser" if settings is None else settings.speech.value,
        orders=settings is None or settings.commands,
        speed=speed,
        demo=speed != 1.0,
        typed=bench.meter.driver == TYPED,
    )
