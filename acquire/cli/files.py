"""Commands about files and figures: check, winding, schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (check, winding, schema):
        app.command()(command)


def check(
    files: Annotated[list[Path], typer.Argument(help="Bench, sheet and meter files (TOML).")],
    *,
    budget: Annotated[
        bool, typer.Option("--budget", help="How well this bench can judge each step: SHEET BENCH.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False,
) -> None:
    """Check files line by line and say what they mean; exit 2 if any cannot be used."""
    from acquire.answers.check import check_files

    reports = check_files(files)
    faults = [fault for report in reports for fault in report.faults]
    if as_json and not (budget and not faults):
        typer.echo(json.dumps([report.as_json() for report in reports], indent=2, ensure_ascii=False))
    else:
        for fault in faults:
            typer.echo(str(fault), err=True)
        for report in reports:
            for line in report.summary if not budget else ():
                typer.echo(line)
    if faults:
        raise typer.Exit(2)
    if budget:
        from acquire.answers.budget import budget_facts, budget_lines

        if as_json:
            typer.echo(json.dumps(budget_facts(reports), indent=2, ensure_ascii=False))
            return
        for line in budget_lines(reports):
            typer.echo(line)


def winding(
    *,
    wire: Annotated[str | None, typer.Option(help='Such as "AWG 36" or "0.125 mm".')] = None,
    mean_turn: Annotated[str | None, typer.Option(help='Mean length of a turn, such as "62 mm".')] = None,
    turns: Annotated[float | None, typer.Option(min=0.0, help="Turns: gives the ohms to expect.")] = None,
    ohm: Annotated[str | None, typer.Option(help='Measured, such as "202.5 ohm": gives the turns.')] = None,
    reference: Annotated[
        str | None, typer.Option(help="Its ohms at --celsius; with --ohm: how warm the winding is.")
    ] = None,
    mass: Annotated[
        float | None, typer.Option(min=0.0, help="Of the bare wire, grams; with --ohm: length and gauge.")
    ] = None,
    metal: Annotated[
        str | None, typer.Option(help="copper, magnet_wire or aluminium; left out: copper.")
    ] = None,
    strands: Annotated[int, typer.Option(min=1, help="Wires in hand.")] = 1,
    extra: Annotated[str, typer.Option(help="Wire between coils and to the ends.")] = "0 mm",
    spools: Annotated[
        Path | None, typer.Option(help="File of spool cards; then --wire names a spool.")
    ] = None,
    celsius: Annotated[
        float, typer.Option(help="Temperature of the ohms, or of the reference, degrees Celsius.")
    ] = 20.0,
) -> None:
    """Ohms from turns, turns from ohms, wire from mass and ohms, or temperature from ohms."""
    from acquire.answers.winding import temperature_line, weighed_lines, winding_lines

    if reference is not None:
        typer.echo(temperature_line(reference, ohm, metal, celsius))
        return
    if mass is not None:
        for line in weighed_lines(mass, ohm, celsius, mean_turn, metal):
            typer.echo(line)
        return

    for line in winding_lines(
        wire,
        mean_turn,
        turns=turns,
        ohm=ohm,
        strands=strands,
        extra=extra,
        spools=spools,
        celsius=celsius,
        metal=metal,
    ):
        typer.echo(line)


def schema(
    name: Annotated[
        str | None, typer.Argument(help="One record, such as verdict; all of them if left out.")
    ] = None,
    *,
    asyncapi: Annotated[bool, typer.Option("--asyncapi", help="The AsyncAPI document of MQTT.")] = False,
) -> None:
    """Print the JSON Schemas of everything that is recorded and sent."""
    from acquire.errors import InputImpossible
    from acquire.outlets import schemas

    if asyncapi:
        typer.echo(json.dumps(schemas.asyncapi(), indent=2))
        return
    known = schemas.json_schemas()
    if name is not None and name not in known:
        raise InputImpossible(f'There is no record "{name}".', f"There are {', '.join(known)}.")
    typer.echo(json.dumps(known if name is None else known[name], indent=2))
