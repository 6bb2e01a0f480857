"""The commands: what is typed, what is done, what is said; here what they share.

Options as they are typed, and ways to answer. Not for what a command does.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from acquire.choices import Purpose

if TYPE_CHECKING:
    from acquire.reports.document import Document


Level = Literal["debug", "info", "warning", "error"]
"""How serious a log line is, least first."""


def option(told: str, *names: str, **more: Any) -> Any:
    """An option with its help; `names` where it is not called as its parameter, or is a flag without "no"."""
    return typer.Option(*names, help=told, **more)


def argument(told: str, **more: Any) -> Any:
    """A word of the command line with its help."""
    return typer.Argument(help=told, **more)


PLACE = "Folder of a bench's journal; or a line's database, by address or collector file."

JournalPlace = Annotated[str, argument(PLACE)]
AsJson = Annotated[bool, option("One JSON object, for programs.", "--json")]
AsJsonLines = Annotated[bool, option("One JSON object a line, for programs.", "--json")]
LogLevel = Annotated[Level, option("Least serious log line shown.")]
Html = Annotated[Path | None, option("Write it here, as one HTML file.")]
Pdf = Annotated[Path | None, option("Write it here, as a PDF.")]
OfPurpose = Annotated[Purpose | None, option("What it was measured for; default: the latest.")]
HeadedBy = Annotated[Path | None, option("Bench file: heading, size of paper and labels.")]
OfUnit = Annotated[str, argument("Serial of the unit.")]
OnlyBench = Annotated[str | None, option("Only this bench, of a line's record.")]
KeptIn = Annotated[
    Path | None,
    option("Where papers are kept as issued; default: the folder issued beside the record.", "--issued"),
]


def say(lines: Iterable[str]) -> None:
    """Print lines."""
    for line in lines:
        typer.echo(line)


def say_json(value: Any, indent: int | None = None) -> None:
    """Print a value as JSON: in one line, or indented."""
    typer.echo(json.dumps(value, ensure_ascii=False, indent=indent))


def say_document(document: Document) -> None:
    """Print a report in the terminal."""
    from acquire.outlets.console import BenchConsole
    from acquire.reports.printing import as_terminal

    BenchConsole().print(as_terminal(document))
