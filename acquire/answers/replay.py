"""`steadyohm replay`: verdicts of a recording, and whether they are those on record."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from acquire.answers.history import verdict_line
from acquire.bench.recording import replay, verdicts_of
from acquire.journal.history import JournalReader, Question
from acquire.journal.plain import to_plain
from acquire.sheets import load_sheet


@dataclass(frozen=True, slots=True)
class Replayed:
    """One verdict of a replay, as one line for people and one for programs."""

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
        yield Replayed(f"{verdict.serial:<12}  {verdict_line(plain)}", _canonical(plain))


def compare(verdicts: Sequence[Replayed], journal: Path) -> tuple[bool, str]:
    """Set replayed verdicts against those on record, byte for byte.

    Returns:
        (whether each replayed verdict stands in the journal, a sentence).
    """
    with JournalReader(journal) as reader:
        on_record = [_canonical(entry.payload) for entry in reader.find(Question(kinds=("verdict",)))]
    missing = [verdict for verdict in verdicts if verdict.as_json not in set(on_record)]
    if missing:
        return (
            False,
            f"{len(missing)} of {len(verdicts)} verdicts are not on record; the first: {missing[0].line}",
        )
    return True, f"All {len(verdicts)} verdicts are on record, byte for byte."


def _canonical(plain: dict[str, object]) -> str:
    return json.dumps(plain, separators=(",", ":"), sort_keys=True, ensure_ascii=False)
