"""What several commands share: options as they are typed, and ways to answer. Not for what a command does."""

from __future__ import annotations

import json
from collections.abc import Iterable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from acquire.choices import Purpose

if TYPE_CHECKING:
    from acquire.reports.document import Document


class Level(StrEnum):
    """How serious a log line is, least first."""

    DEBUG = "debug"
    INFO = "info"
    WARNING = "warning"
    ERROR = "error"


PLACE = "Folder of a bench's journal; or a line's database, by address or collector file."

JournalPlace = Annotated[str, typer.Argument(help=PLACE)]
AsJson = Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")]
AsJsonLines = Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")]
LogLevel = Annotated[Level, typer.Option(help="Least serious log line shown.")]
Html = Annotated[Path | None, typer.Option(help="Write it here, as one HTML file.")]
Pdf = Annotated[Path | None, typer.Option(help="Write it here, as a PDF.")]
OfPurpose = Annotated[Purpose | None, typer.Option(help="What it was measured for; default: the latest.")]
HeadedBy = Annotated[Path | None, typer.Option(help="Bench file: heading, size of paper and labels.")]
OfUnit = Annotated[str, typer.Argument(help="Serial of the unit.")]
Since = Annotated[str | None, typer.Option(help="From this day or time on (UTC), as 2026-11-25.")]
Until = Annotated[str | None, typer.Option(help="To the end of this day, or before this time (UTC).")]
OnlyBench = Annotated[str | None, typer.Option(help="Only this bench, of a line's record.")]
KeptIn = Annotated[
    Path | None,
    typer.Option(
        "--issued", help="Where papers are kept as issued; default: the folder issued beside the record."
    ),
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
    from acquire.reports.terminal import as_terminal

    BenchConsole().print(as_terminal(document))
