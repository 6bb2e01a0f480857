"""Commands about units: explain, identify, learn."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

READING = typer.Option(
    "--reading",
    metavar="PAIR=OHMS",
    help="One value read off a meter, such as 1-2=214.6 or 1-CORE=open; repeat for each pair.",
)

TEMPERATURE = Annotated[float | None, typer.Option(help="Of the unit, degrees Celsius.")]
LEADS = Annotated[float | None, typer.Option(help="What the meter shows with its probes together, ohms.")]
METER = Annotated[str, typer.Option(help="Meter file, or the name of a shipped one.")]
WIRES = Annotated[int, typer.Option(help="4 where every value was taken with four wires.")]
FOUR_WIRE = Annotated[
    list[str] | None, typer.Option(metavar="PAIR", help="A pair taken with four wires, such as 1-2; repeat.")
]


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (explain, identify, learn):
        app.command()(command)


def explain(
    sheet: Annotated[Path, typer.Argument(help="Sheet of the unit (TOML).")],
    reading: Annotated[list[str], READING],
    *,
    temperature: TEMPERATURE = None,
    leads: LEADS = None,
    meter: METER = "hand-2000",
    wires: WIRES = 2,
    four_wire: FOUR_WIRE = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False,
) -> None:
    """Explain values told over the telephone: what is likely wrong, how sure, what to measure next."""
    from acquire.answers.told import explanation_facts, explanation_of, told_about

    told = told_about(temperature, leads, meter, wires=wires, four_wire=four_wire or ())
    explanation = explanation_of(sheet, reading, told)
    if as_json:
        typer.echo(json.dumps(explanation_facts(explanation), indent=2, ensure_ascii=False))
        return
    for line in explanation.lines:
        typer.echo(line)


def identify(
    sheets: Annotated[
        list[Path], typer.Argument(help="Sheets that it may be (TOML files, or folders of them).")
    ],
    reading: Annotated[list[str], READING],
    *,
    temperature: TEMPERATURE = None,
    leads: LEADS = None,
    meter: METER = "hand-2000",
    wires: WIRES = 2,
    four_wire: FOUR_WIRE = None,
) -> None:
    """Say which of the known sheets an unknown core fits, and how sure that is."""
    from acquire.answers.told import identification_lines, told_about

    told = told_about(temperature, leads, meter, wires=wires, four_wire=four_wire or ())
    for line in identification_lines(sheets, reading, told):
        typer.echo(line)


def learn(
    files: Annotated[
        list[Path], typer.Argument(help="CSV files with columns unit, pin_a, pin_b, ohm (at reference).")
    ],
    *,
    name: Annotated[str, typer.Option(help="Name of the new unit type.")],
    core: Annotated[str, typer.Option(help="Name of the core among the pins, if it was touched.")] = "",
    write: Annotated[Path | None, typer.Option(help="Sheet to write; printed if left out.")] = None,
) -> None:
    """Propose a sheet from good units measured by pairs: circuit, nominals, tolerances, and what to ask."""
    from acquire.answers.told import learnt_sheet

    text = learnt_sheet(files, name, core)
    if write is None:
        typer.echo(text)
        return
    from acquire.answers.told import write_new

    write_new(write, text)
    typer.echo(f"Written: {write}. Read its questions, then: steadyohm check {write}")
