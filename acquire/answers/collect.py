"""`steadyohm collect` and `line`: a collector, its tables, an earlier journal, or the page, from one file.

Not for the work itself (acquire.line).
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import structlog
import typer

from acquire import logs
from acquire.answers.options import Level, LogLevel
from acquire.bench.systemd import from_environment
from acquire.clock import RealClock
from acquire.errors import InputImpossible
from acquire.files.shared import LIST, write_list
from acquire.line import sql
from acquire.quantity import counted
from system.ending import asked_to_end, run_loop

log = structlog.get_logger()

TELL_ENTRIES = 20_000
"""After so many that were brought in, a line is said."""


def need_line_extra() -> None:
    """Raise a sentence where the library for PostgreSQL is missing.

    Raises:
        InputImpossible: it is not installed.
    """
    if find_spec("psycopg") is None:
        raise InputImpossible(
            "The library for PostgreSQL is not installed.", 'Install it with: pip install "steadyohm[line]".'
        )


async def run_collector(path: Path, name: str | None) -> None:
    """Collect until Ctrl-C or SIGTERM.

    Args:
        path: collector file.
        name: in place of the one in the file; None keeps that.

    Raises:
        FileInvalid, InputImpossible: the file, or a secret that it names, cannot be used.
        DatabaseUnfit: the database has not the tables of this version.
    """
    from acquire.line.broker import broker_of
    from acquire.line.collecting import Collector
    from acquire.line.collector_file import load_collector, named

    file = named(load_collector(path), name)
    address, broker = file.database.complete(os.environ), broker_of(file.broker, os.environ)
    collector = Collector(file.collector, broker, address, RealClock(), file.database.migrate)
    supervisor, stop = from_environment(), asyncio.Event()
    collector.changed = lambda: supervisor.say("READY=1", collector.state)
    with asked_to_end(stop.set):
        await collector.run(stop)
    supervisor.stopping("done")
    store = collector.store
    log.info("collect.stopped", entries=store.written, copies=store.copies, rejected=store.rejected)


async def migrate_only(path: Path) -> str:
    """Make the tables that are missing, and set aside what no report could read; gives a sentence.

    Raises:
        FileInvalid, InputImpossible: the file, or a secret that it names, cannot be used.
        DatabaseUnfit, DatabaseAway: it could not be done.
    """
    from acquire.line.collector_file import load_collector
    from acquire.line.database import shown
    from acquire.line.store import Store

    database = load_collector(path).database
    store = Store(database.complete(os.environ), RealClock())
    await store.open()
    aside = await store.set_aside_unreadable()
    await store.close()
    moved = f" Set aside as rejected, with a number beyond all measure: {aside}." if aside else ""
    return f"The tables in {shown(database.address)} are those of this version.{moved}"


async def bring_in(path: Path, journal: Path, *, evidence: bool, say: Callable[[str], None]) -> int:
    """Bring what a journal and its archives hold into the line's database; gives an exit code, 1 if not all.

    Args:
        path: collector file.
        journal: folder of the journal, or one file of it or of its archive.
        evidence: bring what verdicts rest on, too.
        say: shows a line to whoever started it.

    Raises:
        FileInvalid, InputImpossible: the file, or a secret that it names, cannot be used.
        JournalUnusable: there is no journal, or it cannot be read.
        DatabaseUnfit, DatabaseAway: not everything could be written; the same again goes on.
    """
    from acquire.line.backfill import Brought, bring
    from acquire.line.collector_file import load_collector
    from acquire.line.database import shown
    from acquire.line.store import Store

    database = load_collector(path).database
    store = Store(database.complete(os.environ), RealClock())
    told = 0

    def on_the_way(so_far: Brought) -> None:
        nonlocal told
        if so_far.entries >= told + TELL_ENTRIES:
            told = so_far.entries
            say(f"{told} entries …")

    await store.open(may_migrate=database.migrate)
    try:
        done = await bring(journal, store, with_evidence=evidence, told=on_the_way)
    finally:
        await store.close()
    for entry_id, reason in done.reasons.items():
        say(f"{entry_id} is left out: {reason}")
    kept = " with evidence in rows of its own" if evidence else ""
    what = counted(done.entries, "entry", "entries") + kept
    left = f"; left out: {done.refused}" if done.refused else ""
    rows = f"{done.new}; there already: {done.there}{left}"
    say(f"{journal}: {what}. New rows in {shown(database.address)}: {rows}.")
    return 1 if done.refused else 0


async def run_page(path: Path, say: Callable[[str], None]) -> None:
    """Serve the page with all benches until Ctrl-C or SIGTERM.

    Args:
        path: collector file.
        say: shows a line to whoever started it.

    Raises:
        FileInvalid, InputImpossible: the file, or a secret that it names, cannot be used.
        SteadyohmError: the page's address cannot be had.
    """
    from acquire.line.board_page import BoardPage, default_token_file
    from acquire.line.broker import broker_of
    from acquire.line.collector_file import load_collector

    file = load_collector(path)
    line, database = file.line, file.database
    supervisor, stop = from_environment(), asyncio.Event()

    def ready(address: str) -> None:
        supervisor.ready(f"serving {address.partition('?')[0]}")
        say(f"All benches: {address}")

    page = BoardPage(
        broker_of(file.broker, os.environ),
        database.complete(os.environ),
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
        Path | None,
        typer.Argument(help="Collector file (TOML); configs/line/collector.toml shows all of it."),
    ] = None,
    *,
    name: Annotated[
        str | None, typer.Option(help="Of this collector, so that one file serves several.")
    ] = None,
    migrate: Annotated[
        bool,
        typer.Option(
            "--migrate",
            help="Only make missing tables and set aside what no report can read, with the owner's login.",
        ),
    ] = False,
    journal: Annotated[
        Path | None,
        typer.Option(
            help="Only bring in what this journal and its archive hold from before the line was there."
        ),
    ] = None,
    evidence: Annotated[
        bool, typer.Option("--evidence", help="With --journal: the readings behind each verdict, too.")
    ] = False,
    print_roles: Annotated[
        bool, typer.Option("--print-roles", help="Print the roles of the database as SQL, and leave.")
    ] = False,
    log_level: LogLevel = Level.INFO,
) -> None:
    """Collect what all benches of a line record into one PostgreSQL database, until Ctrl-C."""
    if print_roles:
        typer.echo(sql("roles"), nl=False)
        return
    if file is None:
        raise InputImpossible("Which collector file?", "Start from configs/line/collector.toml.")
    need_line_extra()
    logs.set_up(level=log_level.value)
    if migrate:
        typer.echo(run_loop(migrate_only(file)))
    elif journal is not None:
        raise typer.Exit(run_loop(bring_in(file, journal, evidence=evidence, say=typer.echo)))
    else:
        run_loop(run_collector(file, name))


def all_benches(
    file: Annotated[Path, typer.Argument(help="Collector file (TOML), as for `steadyohm collect`.")],
    *,
    log_level: LogLevel = Level.WARNING,
) -> None:
    """Serve the page with all benches: who works, who is silent, yield today, who runs old files."""
    need_line_extra()
    logs.set_up(level=log_level.value)
    run_loop(run_page(file, typer.echo))


def index(
    folder: Annotated[
        Path, typer.Argument(help="Folder of sheets, meter files and spools for many benches.")
    ],
) -> None:
    """Write the list of a shared folder: name and SHA-256 of each file, by which benches take them."""
    count = counted(write_list(folder), "file")
    typer.echo(f"{folder / LIST} lists {count}; benches with [files] see changes within a minute.")
