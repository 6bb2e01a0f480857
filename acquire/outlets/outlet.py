"""How everything leaves the journal: an outlet follows it from a cursor of its own.

`drain` reads behind the cursor, hands the entries to the outlet, and moves the cursor when they are safely
out. A failure is counted, logged and tried again with back-off; it never holds up the bench, whose verdicts
are on the journal already. Not for what goes out nor where to (csv_log, mqtt).
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import AsyncIterator, Awaitable, Coroutine, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, Self

import structlog

from acquire.errors import JournalUnusable, SteadyohmError
from acquire.journal.entry import Entry
from acquire.journal.store import Journal
from acquire.records import Code, Fact, Notice, Severity

log = structlog.get_logger()


READ_AT_ONCE = 200
"""Entries read from the journal in one go."""

STEADY_S = 2.0
"""An outlet that has nothing to send and has stood open so long is well again; workshop choice: a broker that
lets us in and throws us out at once does it sooner."""


class OutletFailed(SteadyohmError):
    """Entries could not be sent; they are tried again.

    Attributes:
        sent: sequence number of the last entry that did go out for certain; None where none of the batch did.
    """

    def __init__(self, what: str, hint: str = "", *, sent: int | None = None) -> None:
        self.sent = sent
        super().__init__(what, hint)


class Outlet(Protocol):
    """Somewhere entries go to. Entered before the first `send`, left after a failure or at the end.

    Attributes:
        at_once: most entries one `send` is given. The cursor is moved while the next are on their way: what
            goes out during one or two syncs of the disk may go out again after a power cut.
    """

    at_once: int

    async def __aenter__(self) -> Self:
        """Open what is needed.

        Raises:
            OutletFailed: it cannot be opened now.
        """
        ...

    async def __aexit__(self, kind: type[BaseException] | None, *_: object) -> None:
        """Close it."""
        ...

    async def begins_behind(self, journal: Journal, cursor: int) -> int:
        """Sequence number to go on behind: the cursor, or earlier where something must be repaired."""
        ...

    async def send(self, entries: Sequence[Entry]) -> None:
        """Bring entries out, in order; returns when they are safe at their destination.

        Raises:
            OutletFailed: some or all of them are not.
        """
        ...

    async def watch(self) -> None:
        """Run while there is nothing to send; never returns.

        Raises:
            OutletFailed: what was opened has broken.
        """
        ...


@dataclass(slots=True)
class Health:
    """How an outlet is doing, for notices, metrics and the health answer.

    Attributes:
        name: of the outlet and its cursor.
        cursor: sequence number up to which everything has gone out.
        sent: entries sent since the start.
        failures: attempts that failed since the start.
        failing: what the latest failure said; empty while all is well.
    """

    name: str
    cursor: int = 0
    sent: int = 0
    failures: int = 0
    failing: str = ""


@dataclass(slots=True)
class BackOff:
    """Waiting times between attempts: doubled from the first to the longest, each shortened by chance.

    The jitter (half to all of the time) keeps many benches from calling a returned broker all at once.

    Attributes:
        first_s, longest_s: seconds. Workshop choice: half a second hides a hiccup, and nobody waits longer
            than half a minute for a broker that is back.
    """

    first_s: float = 0.5
    longest_s: float = 30.0
    _next_s: float = field(default=0.0)

    def next_s(self) -> float:
        """How long to wait this time."""
        self._next_s = min(self._next_s * 2 or self.first_s, self.longest_s)
        return self._next_s * random.uniform(0.5, 1.0)  # noqa: S311  (jitter, not a secret)

    def reset(self) -> None:
        """Begin anew after a success."""
        self._next_s = 0.0


async def drain(
    journal: Journal,
    outlet: Outlet,
    name: str,
    stop: asyncio.Event,
    *,
    health: Health | None = None,
    back_off: BackOff | None = None,
) -> None:
    """Follow the journal until `stop` is set and everything before it has gone out.

    Args:
        journal: open.
        outlet: not yet entered.
        name: of its cursor.
        stop: once set, what is left is sent in one last attempt, then this returns.
        health: kept up to date, if given.
        back_off: between attempts.
    """
    health = health or Health(name)
    back_off = back_off or BackOff()
    while True:
        last_attempt = stop.is_set()
        try:
            async with outlet:
                await _follow(journal, outlet, stop, health, back_off)
        except (OutletFailed, JournalUnusable) as error:
            log.warning("outlet.failed", outlet=name, error=str(error), failures=health.failures + 1)
            health.failing = str(error)
        except Exception as error:  # a fault of ours in one outlet must not stop the bench nor the others
            log.exception("outlet.fault", outlet=name)
            health.failing = f"{type(error).__name__}: {error}"
        else:
            return
        health.failures += 1
        if last_attempt:
            return
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), back_off.next_s())


async def _follow(
    journal: Journal, outlet: Outlet, stop: asyncio.Event, health: Health, back_off: BackOff
) -> None:
    """Send entry after entry until told to stop; ends by an error when sending fails."""
    seq = health.cursor = await journal.cursor(health.name)
    seq = await outlet.begins_behind(journal, seq)
    while True:
        entries = await journal.read_after(seq, READ_AT_ONCE)
        if entries:
            await _send(journal, outlet, entries, health)
            seq = entries[-1].seq
        elif stop.is_set():
            return
        elif not await _idle(journal, outlet, seq, stop, steady_s=STEADY_S if health.failing else None):
            continue
        if health.failing:
            log.info("outlet.back", outlet=health.name, failures=health.failures)
            health.failing = ""
        back_off.reset()


async def _idle(
    journal: Journal, outlet: Outlet, seq: int, stop: asyncio.Event, *, steady_s: float | None
) -> bool:
    """Wait for something to send, or to stop; with a time, also until the outlet has stood open so long.

    Returns:
        Whether that time was reached, and nothing had broken.
    """
    news = first_of(journal.wait_beyond(seq), stop.wait(), outlet.watch())
    try:
        await asyncio.wait_for(news, steady_s)
    except TimeoutError:
        return True
    return False


async def _send(journal: Journal, outlet: Outlet, entries: Sequence[Entry], health: Health) -> None:
    """Send entries, and note how far it got while the next are on their way, even when it fails half-way."""
    noting: asyncio.Task[None] | None = None

    def got_to(some: Sequence[Entry]) -> None:
        nonlocal noting
        health.sent += sum(entry.seq > health.cursor for entry in some)
        health.cursor = max(health.cursor, some[-1].seq)
        if noting is None or noting.done():
            noting = asyncio.create_task(_note(journal, health), name="cursor")

    try:
        for start in range(0, len(entries), outlet.at_once):
            some = entries[start : start + outlet.at_once]
            await outlet.send(some)
            if noting is not None and noting.done():
                noting.result()
            got_to(some)
    except OutletFailed as error:
        if out := [entry for entry in some if error.sent is not None and entry.seq <= error.sent]:
            got_to(out)
        raise
    finally:
        if noting is not None:
            await noting


async def _note(journal: Journal, health: Health) -> None:
    """Move the cursor to where the outlet has got; what it reached meanwhile goes into the next move."""
    noted = -1
    while noted < health.cursor:
        noted = health.cursor
        await journal.move_cursor(health.name, noted)


LATE_S = 0.5
"""After that a task that was told to end is told again."""


async def ended(*tasks: asyncio.Future[Any]) -> list[Any]:
    """Cancel tasks and wait for them; gives what each returned or raised.

    A database that hangs is asked by psycopg to break off, for five seconds; a second cancel spares them.
    """
    if not tasks:
        return []
    for task in tasks:
        task.cancel()
    _, late = await asyncio.wait(tasks, timeout=LATE_S)
    for task in late:
        task.cancel()
    return await asyncio.gather(*tasks, return_exceptions=True)


async def first_of(*works: Awaitable[Any]) -> None:
    """Wait until one of several is done, and stop the others. What it raised is raised."""
    tasks = [asyncio.ensure_future(work) for work in works]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        await ended(*tasks)
    for task in done:
        task.result()


@contextlib.asynccontextmanager
async def beside(about: str, *works: Coroutine[Any, Any, None]) -> AsyncIterator[None]:
    """Let works run beside something, and end with it. A fault in one is logged; the rest goes on."""

    def failed(task: asyncio.Task[None]) -> None:
        if not task.cancelled() and (fault := task.exception()) is not None:
            log.error("task.fault", task=task.get_name(), exc_info=fault)

    tasks = [asyncio.create_task(work, name=f"{about} {number}") for number, work in enumerate(works)]
    for task in tasks:
        task.add_done_callback(failed)
    try:
        yield
    finally:
        await ended(*tasks)


TELL_AFTER_S = 10.0
"""A shorter outage is nobody's business at the bench; workshop choice: a broker's restart takes less."""


@dataclass(slots=True)
class Outages:
    """What is out of reach: told after a while, and once more when it is back.

    Shown, and not put on the record: what waits is safe there already, and it says nothing of any unit.

    Attributes:
        tell_after_s: how long an outage must last to be told.
    """

    tell_after_s: float = TELL_AFTER_S
    _since_s: dict[str, float] = field(default_factory=dict)
    _told: set[str] = field(default_factory=set)

    def notices(self, healths: Iterable[Health], monotonic_s: float, utc_s: float) -> list[Notice]:
        """What is to be told now.

        Args:
            healths: how each outlet is doing.
            monotonic_s: now.
            utc_s: now, for the notice.
        """
        told = []
        for health in healths:
            if health.failing:
                lasted_s = monotonic_s - self._since_s.setdefault(health.name, monotonic_s)
                if lasted_s >= self.tell_after_s and health.name not in self._told:
                    self._told.add(health.name)
                    failing: dict[str, Fact] = {"outlet": health.name, "cause": health.failing}
                    told.append(Notice(Severity.WARNING, Code.OUTLET_FAILING, utc_s, facts=failing))
            elif (since_s := self._since_s.pop(health.name, None)) is not None and health.name in self._told:
                self._told.discard(health.name)
                back: dict[str, Fact] = {"outlet": health.name, "after_s": monotonic_s - since_s}
                told.append(Notice(Severity.INFO, Code.OUTLET_BACK, utc_s, facts=back))
        return told
