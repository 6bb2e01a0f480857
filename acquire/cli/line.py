"""Commands of a line of benches: collect, line, index."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from acquire.cli.bench import LogLevel


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (collect, line, index):
        app.command()(command)


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
    log_level: Annotated[LogLevel, typer.Option(help="Least serious log line shown.")] = LogLevel.INFO,
) -> None:
    """Collect what all benches of a line record into one PostgreSQL database, until Ctrl-C."""
    from acquire import logs
    from acquire.answers.collect import bring_in, migrate_only, run_collector
    from acquire.errors import InputImpossible
    from acquire.line.roles import ROLES
    from system.ending import run_loop

    if print_roles:
        typer.echo(ROLES, nl=False)
        return
    if file is None:
        raise InputImpossible("Which collector file?", "Start from configs/line/collector.toml.")
    logs.set_up(level=log_level.value)
    if migrate:
        typer.echo(run_loop(migrate_only(file)))
    elif journal is not None:
        raise typer.Exit(run_loop(bring_in(file, journal, evidence=evidence, say=typer.echo)))
    else:
        run_loop(run_collector(file, name))


def line(
    file: Annotated[Path, typer.Argument(help="Collector file (TOML), as for `steadyohm collect`.")],
    *,
    log_level: Annotated[LogLevel, typer.Option(help="Least serious log line shown.")] = LogLevel.WARNING,
) -> None:
    """Serve the page with all benches: who works, who is silent, yield today, who runs old files."""
    from acquire import logs
    from acquire.answers.collect import run_page
    from system.ending import run_loop

    logs.set_up(level=log_level.value)
    run_loop(run_page(file, typer.echo))


def index(
    folder: Annotated[
        Path, typer.Argument(help="Folder of sheets, meter files and spools for many benches.")
    ],
) -> None:
    """Write the list of a shared folder: name and SHA-256 of each file, by which benches take them."""
    from acquire.files.shared import LIST, write_list
    from acquire.quantity import counted

    count = counted(write_list(folder), "file")
    typer.echo(f"{folder / LIST} lists {count}; benches with [files] see changes within a minute.")
