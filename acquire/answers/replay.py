"""`steadyohm replay`: verdicts of a recording, and whether they are those on record."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from acquire.answers.history import verdict_line
from acquire.answers.options import AsJsonLines, argument, option
from acquire.bench.recording import replay, verdicts_of
from acquire.journal.plain import to_plain
from acquire.journal.query import Query
from acquire.line.places import record_at
from acquire.quantity import counted
from acquire.sheets import load_sheet


@dataclass(frozen=True, slots=True)
class Replayed:
    """One verdict of a replay: of which unit, as one line for people, and as one for programs."""

    serial: str
    line: str
    as_json: str


def replayed(recording: Path, sheet: Path | None) -> Iterator[Replayed]:
    """The verdicts of a recording.

    Args:
        recording: as `run --record` wrote it.
        sheet: to be judged by in place of the recorded one.

    Raises:
        RecordingInvalid, FileInvalid: recording or sheet cannot be used.
    """
    for verdict in verdicts_of(replay(recording, load_sheet(sheet) if sheet else None)):
        plain = to_plain(verdict)
        yield Replayed(verdict.serial, f"{verdict.serial:<12}  {verdict_line(verdict)}", _canonical(plain))


def compare(verdicts: Sequence[Replayed], place: str | Path) -> tuple[bool, str]:
    """Set replayed verdicts against those on record, byte for byte.

    Args:
        verdicts: of a replay.
        place: folder of a bench's journal, address of a line's database, or a collector file.

    Returns:
        (whether each replayed verdict stands on record, a sentence); nothing replayed proves nothing.
    """
    if not verdicts:
        return False, "The recording gives no verdict, so there is nothing to compare."
    on_record: set[str] = set()
    with record_at(place) as record:
        for serial in dict.fromkeys(verdict.serial for verdict in verdicts):
            asked = Query(serial=serial, kinds=("verdict",), with_evidence=False)
            on_record.update(_canonical(entry.payload) for entry in record.find(asked))
    missing = [verdict for verdict in verdicts if verdict.as_json not in on_record]
    if missing:
        are = "is not on record" if len(missing) == 1 else "are not on record; the first"
        of_all = f"{len(missing)} of {counted(len(verdicts), 'verdict')}"
        return False, f"{of_all} {are}: {missing[0].line}"
    if len(verdicts) == 1:
        return True, "The one verdict is on record, byte for byte."
    return True, f"All {len(verdicts)} verdicts are on record, byte for byte."


def _canonical(plain: dict[str, object]) -> str:
    return json.dumps(plain, separators=(",", ":"), sort_keys=True, ensure_ascii=False)


def replay_recording(
    recording: Annotated[Path, argument("Recording that `steadyohm run --record` wrote.")],
    *,
    sheet: Annotated[Path | None, option("Judge by this sheet instead of the recorded one.")] = None,
    journal: Annotated[
        str | None, option("Compare with the verdicts in this record; exit 1 if any differs.")
    ] = None,
    as_json: AsJsonLines = False,
) -> None:
    """Run recorded readings again: the same verdicts, or what another sheet would have said."""
    verdicts = list(replayed(recording, sheet))
    for verdict in verdicts:
        typer.echo(verdict.as_json if as_json else verdict.line)
    if journal is not None:
        same, sentence = compare(verdicts, journal)
        typer.echo(sentence, err=not same)
        raise typer.Exit(0 if same else 1)
