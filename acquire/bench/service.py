"""The daemon as a service: tells systemd how it is, reads its files again on SIGHUP, answers monitors.

Monitors are served as the bench page is: one request a connection, GET or HEAD only; nothing that a client
sends is kept or acted on. Nothing here touches a reading. Not for making the parts (assembly), their work
(daemon), what monitors read (outlets.metrics), nor for pages that people look at.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any

import structlog

from acquire.bench.assembly import SOFTWARE, Files, first_conditions, read_files
from acquire.bench.daemon import Daemon
from acquire.bench.shared_files import Watch, fetch_before
from acquire.bench.systemd import Supervisor
from acquire.conditions import Conditions
from acquire.errors import FileInvalid, SteadyohmError
from acquire.files.bench_tables import TemperatureSource
from acquire.files.settings import Bench, load_bench
from acquire.outlets.metrics import CONTENT_TYPE, BenchFacts, exposition, health
from acquire.outlets.outlet import beside
from acquire.quantity import counted
from acquire.records import Code, Fact, Notice, Severity
from drivers.errors import MeterError

Answer = tuple[int, str, bytes]
"""HTTP status, media type and body of what is sent back."""

Paths = Mapping[str, Callable[[], Answer]]
"""Path, and what gives the answer."""


@contextlib.asynccontextmanager
async def answering(host: str, port: int, paths: Paths) -> AsyncIterator[int]:
    """Answer monitors while the context lasts; gives the port, a free one for 0.

    Raises:
        SteadyohmError: the address cannot be had.
    """
    from acquire.page.serve import listening_socket, serve  # noqa: PLC0415  (few benches have monitors)

    async def app(scope: Mapping[str, Any], _receive: object, send: Callable[[Any], Awaitable[None]]) -> None:
        give = paths.get(scope["path"], lambda: _plain(HTTPStatus.NOT_FOUND))
        allowed = scope["method"] in ("GET", "HEAD")
        status, kind, body = give() if allowed else _plain(HTTPStatus.METHOD_NOT_ALLOWED)
        fields = {"Content-Type": kind, "Content-Length": len(body), "Cache-Control": "no-store"}
        fields |= {"Connection": "close"} if allowed else {"Connection": "close", "Allow": "GET, HEAD"}
        headers = [(name.lower().encode(), str(text).encode()) for name, text in fields.items()]
        await send({"type": "http.response.start", "status": status, "headers": headers})
        await send({"type": "http.response.body", "body": body})

    try:
        listener = listening_socket(host, port)
    except SteadyohmError as error:
        why = getattr(error.__cause__, "strerror", None) or error.__cause__
        raise SteadyohmError(
            f"The bench cannot listen on {host} port {port} ({why}).",
            "Name another port in [http], or leave the table out.",
        ) from error
    stop = asyncio.Event()
    server = asyncio.create_task(serve(app, listener, stop), name="monitors")
    try:
        yield int(listener.getsockname()[1])
    finally:
        stop.set()
        await server


def _plain(status: HTTPStatus) -> Answer:
    return status, "text/plain; charset=utf-8", f"{status.phrase}\n".encode()


log = structlog.get_logger()

LOOK_S = 5.0
"""How often the status line is brought up to date where no watchdog asks for more."""

SHOWN_FAULTS = 5
"""Of a refused file, told in one notice; `steadyohm check` tells all."""

FIXED_OF_METER = {"driver", "link", "id", "integration_plc", "offset_compensation", "options"}
FIXED_OF_TEMPERATURE = {"source", "driver", "link", "id", "options", "second"}
FIXED_TABLES = ("journal", "csv", "mqtt", "http", "files", "page", "fixture")
"""What is open and cannot change under the bench: it takes a start."""


class ChangeTooLarge(SteadyohmError):
    """A bench file was changed where only a start can follow."""

    exit_code = 2


@dataclass(slots=True)
class Service:
    """A bench that somebody supervises.

    Attributes:
        daemon: the bench.
        files: what it works by.
        supervisor: systemd, if it is there.
        port: the port that monitors are answered on; 0 while nothing listens.
    """

    daemon: Daemon
    files: Files
    supervisor: Supervisor = field(default_factory=Supervisor)
    port: int = 0
    _waiting: Files | None = None
    _began_s: float = 0.0

    # ------------------------------------------------------------------ life

    async def run(self, stop: asyncio.Event, read_again: asyncio.Event) -> None:
        """Work until `stop` is set.

        Args:
            stop: ends the bench.
            read_again: asks for the files to be read again; cleared when that has begun.

        Raises:
            SteadyohmError: the address for monitors cannot be had.
        """
        self._began_s = self.daemon.clock.monotonic_s()
        self.daemon.read_files = read_again.set
        try:
            async with (
                self._listening(),
                beside(
                    "service",
                    self._watch(),
                    self._leave(stop),
                    self._reload(read_again),
                    Watch(self, read_again.set).run(),
                ),
            ):
                await self.daemon.run(stop, self._ready)
        finally:
            await self.daemon.journal.close()

    def _ready(self) -> None:
        self.supervisor.ready(self.status())

    async def _leave(self, stop: asyncio.Event) -> None:
        await stop.wait()
        self.supervisor.stopping("writing what is under way")

    async def _watch(self) -> None:
        """Feed the watchdog while both readings and the journal move; keep the status line true."""
        told = ""
        while True:
            await asyncio.sleep(self.supervisor.feed_every_s or LOOK_S)
            await self.daemon.hear_journal()  # a disk that hangs keeps us here, unfed
            self.supervisor.feed(self._meter_moves(), self.daemon.journal_answers)
            if (status := self.status()) != told:
                told = status
                self.supervisor.say(f"STATUS={status}")

    def _meter_moves(self) -> int:
        """Rises with each reading of the ohms meter, and with each attempt to reach one that is away."""
        readings = sum(feed.came for feed in self.daemon.feeds if feed.name == "meter")
        return readings + self.daemon.outages

    def status(self) -> str:
        """One line for people who ask systemd."""
        facts = self.facts()
        troubles = " ".join(facts.troubles()) or "all is well."
        return f"{facts.bench}: {counted(self.daemon.outcomes.total(), 'verdict')}; {troubles}"

    # ------------------------------------------------------------------ monitors

    @contextlib.asynccontextmanager
    async def _listening(self) -> AsyncIterator[None]:
        http = self.files.bench.http
        if http is None:
            yield
            return
        paths = {"/metrics": self._metrics, "/health": self._health}
        async with answering(http.host, http.port, paths) as self.port:
            yield

    def _metrics(self) -> Answer:
        return 200, CONTENT_TYPE, exposition(self.facts()).encode("utf-8", "replace")

    def _health(self) -> Answer:
        status, body = health(self.facts())
        return status, "application/json", body

    def facts(self) -> BenchFacts:
        """What is known of the bench now."""
        daemon = self.daemon
        now_s = daemon.clock.monotonic_s()
        latest = {feed.name: daemon.latest_s.get(feed.name) for feed in daemon.feeds}
        return BenchFacts(
            bench=self.files.bench.name,
            software=SOFTWARE,
            uptime_s=now_s - self._began_s,
            readings={feed.name: feed.came for feed in daemon.feeds},
            silence_s={name: None if then_s is None else now_s - then_s for name, then_s in latest.items()},
            verdicts=dict(daemon.outcomes),
            journal_seq=daemon.journal.last_seq,
            journal_bytes=_size(daemon),
            halted=daemon.halted,
            commands_refused=daemon.refused + daemon.desk_refused(),
            outlets=tuple(daemon.healths),
        )

    # ------------------------------------------------------------------ files

    async def _reload(self, read_again: asyncio.Event) -> None:
        while True:
            await read_again.wait()
            read_again.clear()
            self.supervisor.reloading(time.monotonic_ns() // 1000)
            try:
                for notice in await self.read_again():
                    await self.daemon.tell(notice)
            finally:  # whatever came of it, the bench is at work
                self.supervisor.ready(self.status())

    async def read_again(self) -> list[Notice]:
        """Read bench, sheet and meter file again; they come into force between two units.

        Returns:
            What became of it: nothing changed, refused with the reason, waiting, or taken.
        """
        daemon = self.daemon
        try:
            files = await asyncio.to_thread(self._read)
        except (SteadyohmError, MeterError) as error:
            return [self._notice(Severity.WARNING, Code.FILES_REFUSED, {"cause": _few(error)})]
        changed = _changes(self.files, files)
        if not changed:
            self._waiting, daemon.next_files = None, None
            return [self._notice(Severity.REMARK, Code.FILES_SAME, {})]
        self._waiting = files
        if daemon.pipeline.unit is None:
            return self._take()
        daemon.next_files = self._take
        return [self._notice(Severity.WARNING, Code.FILES_WAITING, changed)]

    def _read(self) -> Files:
        fetch_before(self.files.bench.file)
        bench = load_bench(self.files.bench.file)
        _refuse_fixed(self.files.bench, bench)
        return read_files(bench, self.daemon.clock)

    def _take(self) -> list[Notice]:
        """Put the files that wait into force. No unit is on the bench."""
        before, files = self.files, self._waiting or self.files
        daemon = self.daemon
        conditions = self._conditions(before.bench, files.bench)
        daemon.pipeline = daemon.pipeline.on(
            place=files.place, meter=files.model, conditions=conditions, **files.limits
        )
        daemon.pipeline.link_lost()  # what was settling was settling by the old files
        daemon.thermometer_u_kelvin = files.bench.temperature.standard_uncertainty_kelvin
        self.files, self._waiting, daemon.next_files = files, None, None
        return [self._notice(Severity.WARNING, Code.FILES_TAKEN, _changes(before, files)), *files.notices]

    def _conditions(self, before: Bench, now: Bench) -> Conditions:
        """What goes on holding of temperature and lead zero, and what the bench file now states."""
        old, new = self.daemon.pipeline.conditions, first_conditions(now, self.daemon.clock)
        typed = now.temperature.source is TemperatureSource.TYPED
        if not (typed and now.temperature != before.temperature):
            new.temperature = old.temperature
        if now.leads == before.leads or (new.lead is None and now.leads.zero is before.leads.zero):
            new.lead = old.lead
        new.gates = old.gates
        return new

    def _notice(self, weight: Severity, code: Code, facts: Mapping[str, Fact]) -> Notice:
        return Notice(weight, code, self.daemon.clock.utc_s(), facts=facts)


def service_of(daemon: Daemon, bench: Bench, supervisor: Supervisor) -> Service:
    """The service around a daemon that was just assembled from a bench file."""
    heart = daemon.pipeline
    return Service(daemon, Files(bench, heart.place, heart.meter, (), heart.cards), supervisor)


def _refuse_fixed(before: Bench, now: Bench) -> None:
    """Raise if something was changed that is open under the bench."""
    changed = [f"[{name}]" for name in FIXED_TABLES if getattr(before, name) != getattr(now, name)]
    if before.name != now.name:
        changed.append("name in [bench]")
    for table, keys in (("meter", FIXED_OF_METER), ("temperature", FIXED_OF_TEMPERATURE)):
        old, new = getattr(before, table), getattr(now, table)
        changed += [f"{key} in [{table}]" for key in sorted(keys) if getattr(old, key) != getattr(new, key)]
    if changed:
        raise ChangeTooLarge(f"{before.file}: {', '.join(changed)} cannot change under a running bench.",
                             "Stop the bench and start it again.")  # fmt: skip


def _changes(before: Files, now: Files) -> dict[str, Fact]:
    """Which files have changed, each with its name and its hashes now and before; empty when none has."""
    pairs = (
        ("bench_file", "", before.bench.content_hash, now.bench.content_hash),
        ("sheet", now.place.sheet.name, before.place.sheet.content_hash, now.place.sheet.content_hash),
        ("meter_file", now.model.name, before.model.content_hash, now.model.content_hash),
    )
    changed: dict[str, Fact] = {what: (name, new, old) for what, name, old, new in pairs if old != new}
    return changed | ({"spool_cards": True} if before.cards != now.cards else {})


def _few(error: SteadyohmError | MeterError) -> str:
    """The reason in one line, of many faults the first few."""
    if not isinstance(error, FileInvalid):
        return " ".join(str(error).split())
    told = [str(fault) for fault in error.faults[:SHOWN_FAULTS]]
    more = len(error.faults) - len(told)
    return " ".join([*told, *([f"And {more} more."] if more else [])])


def _size(daemon: Daemon) -> int:
    """Bytes of the journal with its write-ahead log."""
    size = 0
    for path in (daemon.journal.path, daemon.journal.path.with_name(daemon.journal.path.name + "-wal")):
        with contextlib.suppress(OSError):
            size += path.stat().st_size
    return size
