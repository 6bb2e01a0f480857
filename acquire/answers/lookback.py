"""`steadyohm lookback`: lines for a terminal, and files. Only reads the record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from acquire.answers.history import moment_s
from acquire.errors import InputImpossible
from acquire.files.new_file import new_file
from acquire.journal.question import Record
from acquire.outlets.csv_log import BOM
from acquire.quantity import show
from acquire.records import Outcome
from acquire.reports.lookback import MeterRow, Span, SpoolRow, by_meter, by_spool, csv_lines, span_since_check
from acquire.words.outcomes import OUTCOME_WORDS


def span_of(
    record: Record,
    meter: str | None,
    since: str | None,
    until: str | None,
    *,
    since_check: bool,
    bench: str | None,
) -> Span:
    """The time that is asked for.

    Raises:
        InputImpossible: a time is none, or --since-check without a meter.
        JournalUnusable: the record cannot be read.
    """
    if since_check:
        if meter is None or since or until:
            raise InputImpossible("--since-check goes with --meter, without --since and --until.")
        return span_since_check(record, meter, bench)
    return Span(
        None if since is None else moment_s(since), None if until is None else moment_s(until, end=True), ""
    )


def rows_of(
    record: Record, meter: str | None, spool: str | None, span: Span, bench: str | None
) -> Iterator[MeterRow] | Iterator[SpoolRow]:
    """What is looked for.

    Raises:
        InputImpossible: neither or both of meter and spool.
        JournalUnusable: the record cannot be read.
    """
    if meter is not None and spool is None:
        return by_meter(record, meter, span, bench)
    if spool is not None and meter is None:
        return by_spool(record, spool, span)
    raise InputImpossible("A look-back is for one meter or one spool.", "Give --meter or --spool.")


def line_of(row: MeterRow | SpoolRow) -> str:
    """One row for a terminal."""
    when = row.time_utc[:19].replace("T", " ")
    if isinstance(row, SpoolRow):
        word = OUTCOME_WORDS[Outcome(row.outcome)] if row.outcome else row.held
        return f"{when}  {row.serial:<12}  {row.batch:<12}  {row.windings:<24}  {row.purpose}: {word}"
    value = "open" if row.reference_ohm is None else show(row.reference_ohm, "Ω", row.expanded_ohm)
    once_more = "" if row.counts else " (did not count)"
    word = OUTCOME_WORDS[Outcome(row.outcome)]
    line = (
        f"{when}  {row.serial:<12}  {row.pin_a}–{row.pin_b:<6} {row.step:<20} {value:>12}  {word}{once_more}"
    )
    return f"{line}\n{'':35}{row.doubt}" if row.doubt else line


def write_csv(path: Path, rows: Iterable[MeterRow | SpoolRow], kind: type[MeterRow | SpoolRow]) -> None:
    """Write the rows as CSV.

    Raises:
        InputImpossible: the file cannot be written.
    """
    with new_file(path) as file:
        file.write(BOM)
        for line in csv_lines(rows, kind):
            file.write(line)
