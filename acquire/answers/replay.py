"""`steadyohm replay`: verdicts of a recording, and whether they are those on record."""

from __future__ import annotations

import json
from collections.abc import Sequence
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
from acquire.records import Verdict
from acquire.sheets import load_sheet


def compare(verdicts: Sequence[Verdict], place: str | Path) -> tuple[bool, str]:
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
    missing = [verdict for verdict in verdicts if _canonical(to_plain(verdict)) not in on_record]
    if missing:
        are = "is not on record" if len(missing) == 1 else "are not on record; the first"
        of_all = f"{len(missing)} of {counted(len(verdicts), 'verdict')}"
        return False, f"{of_all} {are}: {_line(missing[0])}"
    if len(verdicts) == 1:
        return True, "The one verdict is on record, byte for byte."
    return True, f"All {len(verdicts)} verdicts are on record, byte for byte."


def _line(verdict: Verdict) -> str:
    return f"{verdict.serial:<12}  {verdict_line(verdict)}"


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
    verdicts = list(verdicts_of(replay(recording, load_sheet(sheet) if sheet else None)))
    for verdict in verdicts:
        typer.echo(_canonical(to_plain(verdict)) if as_json else _line(verdict))
    if journal is not None:
        same, sentence = compare(verdicts, journal)
        typer.echo(sentence, err=not same)
        raise typer.Exit(0 if same else 1)
