"""`steadyohm collect` and `line`: a collector, its tables, an earlier journal, or the page, from one file.

Not for the work itself (acquire.line).
"""

from __future__ import annotations

import asyncio
import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import structlog
import typer

from acquire import logs
from acquire.answers import Level, LogLevel, argument, option, say
from acquire.bench.systemd import from_environment
from acquire.clock import RealClock
from acquire.errors import InputImpossible
from acquire.files.shared import LIST, write_list
from acquire.line import sql
from acquire.line.places import need_postgresql
from acquire.quantity import counted
from system.ending import asked_to_end, run_loop

if TYPE_CHECKING:
    from acquire.line.collector_file import CollectorFile, DatabaseSettings

log = structlog.get_logger()

TELL_ENTRIES = 20_000
"""After so many that were brought in, a line is said."""


def _read(file: Path, log_level: Level) -> CollectorFile:
    """The collector file, where what it takes to work with it is installed."""
    need_postgresql()
    from acquire.line.collector_file import load_collector

    logs.set_up(level=log_level)
    return load_collector(file)


async def _collected(file: CollectorFile) -> None:
    """Collect until Ctrl-C or SIGTERM."""
    from acquire.line.broker import broker_of
    from acquire.line.collecting import Collector

    address, broker = file.database.complete(os.environ), broker_of(file.broker, os.environ)
    collector = Collector(file.collector, broker, address, RealClock(), file.database.migrate)
    supervisor, stop = from_environment(), asyncio.Event()
    collector.changed = lambda: supervisor.say("READY=1", collector.state)
    with asked_to_end(stop.set):
        await collector.run(stop)
    supervisor.stopping("done")
    store = collector.store
    log.info("collect.stopped", entries=store.written, copies=store.copies, rejected=store.rejected)


async def _migrated(database: DatabaseSettings) -> str:
    """Make the tables that are missing, and set aside what no report could read; gives a sentence."""
    from acquire.line.database import shown
    from acquire.line.store import Store

    store = Store(database.complete(os.environ), RealClock())
    await store.open()
    aside = await store.set_aside_unreadable()
    await store.close()
    moved = f" Set aside as rejected, with a number beyond all measure: {aside}." if aside else ""
    return f"The tables in {shown(database.address)} are those of this version.{moved}"


async def _brought(database: DatabaseSettings, journal: Path, *, evidence: bool) -> int:
    """Bring a journal and its archives into the line's database; gives how many entries are no records."""
    from acquire.line.backfill import Brought, bring
    from acquire.line.database import shown
    from acquire.line.store import Store

    store, told = Store(database.complete(os.environ), RealClock()), 0

    def on_the_way(so_far: Brought) -> None:
        nonlocal told
        if so_far.entries >= told + TELL_ENTRIES:
            told = so_far.entries
            typer.echo(f"{told} entries …")

    await store.open(may_migrate=database.migrate)
    try:
        done = await bring(journal, store, with_evidence=evidence, told=on_the_way)
    finally:
        await store.close()
    say(f"{entry_id} is left out: {reason}" for entry_id, reason in done.reasons.items())
    what = counted(done.entries, "entry", "entries") + (
        " with evidence in rows of its own" if evidence else ""
    )
    left = f"; left out: {done.refused}" if done.refused else ""
    rows = f"{done.new}; there already: {done.there}{left}"
    typer.echo(f"{journal}: {what}. New rows in {shown(database.address)}: {rows}.")
    return done.refused


async def _served(file: CollectorFile) -> None:
    """Serve the page with all benches until Ctrl-C or SIGTERM."""
    from acquire.line.board_page import BoardPage, default_token_file
    from acquire.line.broker import broker_of

    line, supervisor, stop = file.line, from_environment(), asyncio.Event()

    def ready(address: str) -> None:
        supervisor.ready(f"serving {address.partition('?')[0]}")
        typer.echo(f"All benches: {address}")

    page = BoardPage(
        broker_of(file.broker, os.environ),
        file.database.complete(os.environ),
        RealClock(),
        line.host,
        line.port,
        default_token_file() if line.public else None,
        line.files,
        line.silent,
        ready,
    )
    with asked_to_end(stop.set):
        await page.run(stop)


def collect(
    file: Annotated[
        Path | None, argument("Collector file (TOML); configs/line/collector.toml shows all of it.")
    ] = None,
    *,
    name: Annotated[str | None, option("Of this collector, so that one file serves several.")] = None,
    migrate: Annotated[
        bool,
        option(
            "Only make missing tables and set aside what no report can read, with the owner's login.",
            "--migrate",
        ),
    ] = False,
    journal: Annotated[
        Path | None,
        option("Only bring in what this journal and its archive hold from before the line was there."),
    ] = None,
    evidence: Annotated[
        bool, option("With --journal: the readings behind each verdict, too.", "--evidence")
    ] = False,
    print_roles: Annotated[
        bool, option("Print the roles of the database as SQL, and leave.", "--print-roles")
    ] = False,
    log_level: LogLevel = "info",
) -> None:
    """Collect what all benches of a line record into one PostgreSQL database, until Ctrl-C."""
    if print_roles:
        typer.echo(sql("roles"), nl=False)
        return
    if file is None:
        raise InputImpossible("Which collector file?", "Start from configs/line/collector.toml.")
    read = _read(file, log_level)
    if migrate:
        typer.echo(run_loop(_migrated(read.database)))
    elif journal is not None:
        refused = run_loop(_brought(read.database, journal, evidence=evidence))
        raise typer.Exit(1 if refused else 0)
    else:
        from acquire.line.collector_file import named

        run_loop(_collected(named(read, name)))


def all_benches(
    file: Annotated[Path, argument("Collector file (TOML), as for `steadyohm collect`.")],
    *,
    log_level: LogLevel = "warning",
) -> None:
    """Serve the page with all benches: who works, who is silent, yield today, who runs old files."""
    run_loop(_served(_read(file, log_level)))


def index(
    folder: Annotated[Path, argument("Folder of sheets, meter files and spools for many benches.")],
) -> None:
    """Write the list of a shared folder: name and SHA-256 of each file, by which benches take them."""
    count = counted(write_list(folder), "file")
    typer.echo(f"{folder / LIST} lists {count}; benches with [files] see changes within a minute.")
