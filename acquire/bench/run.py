"""`steadyohm run`: the daemon on the user's own meter and sheet, with the terminal as its display.

Ends on Ctrl-C or SIGTERM after everything begun has been written. Not for how parts are made (assembly).
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from acquire.bench.assembly import assemble
from acquire.bench.keyboard import Keyboard
from acquire.bench.service import service_of
from acquire.bench.shared_files import fetch_before
from acquire.bench.systemd import from_environment
from acquire.clock import RealClock
from acquire.errors import JournalUnusable, SteadyohmError
from acquire.files.settings import Bench, load_bench
from acquire.outlets.console import BenchConsole
from acquire.outlets.terminal import Terminal
from acquire.quantity import counted
from system.console import write_nowhere
from system.ending import asked_to_end, on_hang_up

if TYPE_CHECKING:
    from acquire.page.bench_page import BenchPage


async def run_bench(bench_file: Path, record: Path | None = None) -> None:
    """Work at a bench until a signal.

    Args:
        bench_file: what, with which instruments, written where.
        record: file to write down everything that goes into the heart; must not be there yet.

    Raises:
        FileInvalid: the bench file, its sheet or its meter file cannot be used.
        JournalUnusable: the record cannot be opened, or could not take everything before the stop.
    """
    await asyncio.to_thread(fetch_before, bench_file)
    bench = load_bench(bench_file)
    stop, read_again = asyncio.Event(), asyncio.Event()
    signals = asked_to_end(stop.set), reads_on_hang_up(stop, read_again)
    with signals[0], signals[1], _written(record) as out:
        await at_work(bench, BenchConsole(), stop, read_again, out=out)


async def at_work(
    bench: Bench,
    console: BenchConsole,
    stop: asyncio.Event,
    read_again: asyncio.Event,
    *,
    out: TextIO | None = None,
    page: BenchPage | None = None,
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Run one bench with the terminal as its display.

    Args:
        bench: as its file says.
        console: the terminal.
        stop: ends the bench.
        read_again: asks for the files to be read again.
        out: where to write down everything that goes into the heart.
        page: one that is served already and shall show this bench.
        ready: called once the parts are made.

    Raises:
        FileInvalid: its sheet or its meter file cannot be used.
        JournalUnusable: the record cannot be opened, or could not take everything before the stop.
    """
    with Terminal(console) as terminal:
        daemon = await assemble(
            bench,
            clock=RealClock(),
            show=terminal.show,
            environment=os.environ,
            record=out,
            stop=stop,
            page=page,
        )
        ready()
        if told := daemon.invitation(console.is_terminal):
            console.print(told, soft_wrap=True)
        service = service_of(daemon, bench, from_environment())
        typed = Keyboard(terminal.typing).followed(daemon.command, daemon.tell, daemon.clock)
        keys = asyncio.create_task(typed, name="keyboard")
        try:
            await service.run(stop, read_again)
        finally:
            keys.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await keys
    if daemon.unwritten:
        raise JournalUnusable("Stopped before the journal could take the last records: they are lost.")
    if terminal.units:
        console.print(terminal.summary())
    console.print(
        f"Stopped. In {bench.journal.folder}: {counted(daemon.outcomes.total(), 'verdict')} of this run."
    )


@contextlib.contextmanager
def _written(record: Path | None) -> Iterator[TextIO | None]:
    """The file of a recording, line by line on the disk; None where none is wanted."""
    if record is None:
        yield None
        return
    try:
        number = os.open(record, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o640)  # it holds names
        out = os.fdopen(number, "w", encoding="utf-8", newline="\n", buffering=1)
    except OSError as error:
        raise SteadyohmError(
            f"The recording {record} cannot be begun ({error.strerror}).", "Name a new file."
        ) from error
    with out:
        yield out


@contextlib.contextmanager
def reads_on_hang_up(stop: asyncio.Event, read_again: asyncio.Event) -> Iterator[None]:
    """Let SIGHUP ask for the files to be read again; but end with the terminal, if there was one.

    A terminal that is closed sends the same signal. It is gone then: a bench without eyes must not go on.
    """
    had_terminal = _on_terminal()

    def hung_up() -> None:
        if had_terminal and not _on_terminal():
            write_nowhere(sys.stdout, sys.stderr)
            stop.set()
        else:
            read_again.set()

    with on_hang_up(hung_up):
        yield


def _on_terminal() -> bool:
    """Whether standard input is a terminal that is still there."""
    try:
        return os.isatty(sys.stdin.fileno())
    except (AttributeError, OSError, ValueError):
        return False
