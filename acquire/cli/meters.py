"""Commands about instruments: find, decode, meters."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (find, decode, meters):
        app.command()(command)


def find(
    *,
    port: Annotated[
        list[str] | None,
        typer.Option(help="This serial port; may be repeated."),
    ] = None,
    tcp: Annotated[
        list[str] | None, typer.Option(help="A meter on the network, HOST:PORT; may be repeated.")
    ] = None,
    visa: Annotated[
        bool, typer.Option("--visa", help="The VISA resources of this machine and its network.")
    ] = False,
    listen_only: Annotated[
        bool, typer.Option("--listen-only", help="Send nothing; hear only what sends by itself.")
    ] = False,
    write: Annotated[
        Path | None, typer.Option(help="Write a commented bench file for what was found.")
    ] = None,
) -> None:
    """Look for meters where you say, else on every serial port, by listening and asking harmlessly."""
    from acquire.answers.instruments import look
    from drivers.link.address import parse_address
    from system.ending import run_loop

    for place in tcp or ():
        parse_address(f"tcp:{place}")  # a slip of the pen is bad input, not a meter that does not answer
    ports = [] if port is None and (tcp or visa) else port
    found = run_loop(look(ports, tcp or [], visa=visa, ask=not listen_only, write=write))
    raise typer.Exit(0 if found else 1)


def decode(
    driver: Annotated[
        str, typer.Argument(help="Whose bytes these are; `steadyohm meters` lists the drivers.")
    ],
    hexadecimal: Annotated[list[str], typer.Argument(metavar="HEX...", help='Such as "2b 30 31 32".')],
    *,
    profile: Annotated[str | None, typer.Option(help="Profile of the driver, if it has several.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False,
) -> None:
    """Say what a driver makes of some bytes, or why it makes nothing of them."""
    from acquire.answers.instruments import decoding_facts, decoding_lines
    from drivers.decode import bytes_of_hex, decode_bytes

    options = {"profile": profile} if profile else None
    decoding = decode_bytes(driver, bytes_of_hex(" ".join(hexadecimal)), options)
    if as_json:
        typer.echo(json.dumps(decoding_facts(decoding), indent=2))
    else:
        for line in decoding_lines(decoding):
            typer.echo(line)
    raise typer.Exit(0 if any(piece.decoded for piece in decoding.pieces) else 1)


def meters(
    *, as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False
) -> None:
    """List drivers and links: what each can do, what it was verified against, and what is missing."""
    from dataclasses import asdict

    from acquire.answers.instruments import driver_facts, driver_lines, link_lines
    from drivers.link.available import link_kinds
    from drivers.registry import list_drivers

    entries = list_drivers()
    if as_json:
        drivers, links = [driver_facts(entry) for entry in entries], [asdict(kind) for kind in link_kinds()]
        typer.echo(json.dumps({"drivers": drivers, "links": links}, indent=2))
        return
    for line in [*driver_lines(entries), "", *link_lines(link_kinds())]:
        typer.echo(line)
