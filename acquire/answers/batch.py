"""What statistics say: a batch's report, or the list of all; the check standard's chart; the gauge study.

And what nobody types: a report as plain data, for which the bench page asks in a process of its own.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import pairwise, product
from pathlib import Path
from typing import Annotated, Literal

import typer

from acquire import logs
from acquire.answers import (
    PLACE,
    AsJson,
    Html,
    JournalPlace,
    OnlyBench,
    Pdf,
    argument,
    option,
    say,
    say_document,
    say_json,
)
from acquire.answers.papers import write_document
from acquire.errors import InputImpossible
from acquire.journal.plain import spelt
from acquire.journal.query import Query
from acquire.line.places import record_at
from acquire.physics.check_standard import FEWEST_FOR_A_CHART, chart_of
from acquire.quantity import counted, show
from acquire.records import CheckStandard, Purpose
from acquire.reports.batch import BatchLine, batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.document import Document, moment
from acquire.reports.export import batch_csv
from acquire.reports.pictures import svg_pictures
from acquire.reports.visits import record_of
from acquire.study.document import study_document
from acquire.study.document import svg_pictures as study_pictures
from acquire.study.record import names_in, parts_named, read_study
from acquire.study.report import as_plain, report_of
from system.ending import run_loop


def list_lines(batches: list[BatchLine]) -> list[str]:
    """One line a batch, for people."""
    if not batches:
        return ["There is no batch on this record: type .batch and a name at the bench to begin one."]
    wide = max(len(line.name) for line in batches)
    lines = []
    for line in batches:
        state = line.state.value if line.state else "by name"
        of = "" if line.expected is None else f"{line.units} of "
        count = of + counted(line.units if line.expected is None else line.expected, "unit")
        passed = f"{line.passed} passed" if line.units else "none measured"
        doubt = "   FIRST UNIT IN DOUBT" if line.doubt else ""
        lines.append(
            f"{line.name:<{wide}}  {state:<8}  {line.sheet:<14}  {count + ',':<16} {passed:<12}  "
            f"{moment(line.latest_utc_s)[:16]}{doubt}"
        )
    return lines


def batch(
    name: Annotated[str | None, argument("Of the batch; default: the list of all.")] = None,
    *,
    journal: Annotated[str, option(PLACE)] = "journal",
    html: Html = None,
    pdf: Pdf = None,
    as_json: AsJson = False,
    as_csv: Annotated[
        bool, option("The values that count as CSV, one row a unit and step.", "--csv")
    ] = False,
    subgroup: Annotated[
        int | None, option("Chart the means of so many neighbours too.", min=2, max=25)
    ] = None,
    purpose: Annotated[
        Purpose | None, option("What it was measured for; default: final, else the latest.")
    ] = None,
) -> None:
    """Report a batch: yield, charts, capability, what was found; or list the batches of a journal."""
    if name is None:
        with record_at(journal) as record:
            found = batches_of(record)
        say_json([asdict(line) for line in found], indent=2) if as_json else say(list_lines(found))
        return
    with record_at(journal) as record:
        report = batch_report(record, name, purpose=purpose, subgroup=subgroup)
    if html or pdf:
        for path in write_document(batch_document(report, svg_pictures(report)), html, pdf):
            typer.echo(f"Written: {path}", err=as_json or as_csv)
    if as_json:
        say_json(spelt(report), indent=2)
    elif as_csv:
        typer.echo(batch_csv(report), nl=False)
    elif not (html or pdf):
        say_document(batch_document(report))


ReportKind = Literal["batch", "returned", "study"]


def document(
    kind: ReportKind,
    place: Annotated[str, argument("Journal; file of a study.")],
    name: Annotated[str, argument("Of the batch; serial of a unit.")] = "",
) -> None:
    """Print a report as one JSON object."""
    import msgspec

    from acquire.reports.document import as_data

    sys.stdout.buffer.write(msgspec.json.encode(as_data(_document(kind, place, name))))


def _document(kind: ReportKind, place: str, name: str) -> Document:
    if kind == "study":
        study = report_of(read_study(Path(place)))
        return study_document(study, study_pictures(study))
    with record_at(place) as record:
        if kind == "returned":
            from acquire.reports.returned import returned
            from acquire.reports.returned_document import returned_document

            return returned_document(returned(record, name), None, "A4", 0.0)
        report = batch_report(record, name)
        return batch_document(report, svg_pictures(report))


WIDTH = 41
"""Characters of the picture; odd, so that the centre has a place of its own."""


def _chart(records: Sequence[CheckStandard], title: str) -> Iterator[str]:
    last = records[-1]
    certified = show(last.certificate_ohm, "Ω", last.certificate_expanded_ohm)
    yield f"{title}: certified {certified} ± {show(last.certificate_expanded_ohm, 'Ω', digits=2)}"
    sound = [record.reading_ohm for record in records if record.in_control]
    if len(sound) < FEWEST_FOR_A_CHART:
        yield f"  limits are drawn from {FEWEST_FOR_A_CHART} readings in control on; there are {len(sound)}."
        reach = 1.5 * math.hypot(last.certificate_expanded_ohm, last.expanded_ohm)
        lower, centre, upper = (
            last.certificate_ohm - reach,
            last.certificate_ohm,
            last.certificate_ohm + reach,
        )
    else:
        chart = chart_of(sound)
        lower, centre, upper = chart.lower_ohm, chart.centre_ohm, chart.upper_ohm
        yield (
            f"  individuals: centre {centre:.6g} Ω, limits {lower:.6g} to {upper:.6g} Ω; "
            f"moving range: mean {chart.moving_range_ohm:.2g} Ω, limit {chart.moving_range_upper_ohm:.2g} Ω"
        )
    if lower == upper:  # a coarse display that always shows the same
        lower, upper = centre - last.expanded_ohm, centre + last.expanded_ohm
    jumps = [0.0, *(abs(b.reading_ohm - a.reading_ohm) for a, b in pairwise(records))]
    for record, jump in zip(records, jumps, strict=True):
        when = moment(record.utc_s)[:16]
        word = "" if record.in_control else f"  {', '.join(record.signs).replace('_', ' ')}"
        picture = _picture(record.reading_ohm, lower, upper)
        yield f"  {when} {record.reading_ohm:>11.6g} {picture} range {jump:<8.2g}{word}".rstrip()


def _picture(ohm: float, lower: float, upper: float) -> str:
    """One reading between its limits `┃`, with the centre `·`; `◀` and `▶` lie outside."""
    first, last = 4, WIDTH - 5
    line = [" "] * WIDTH
    line[first] = line[last] = "┃"
    line[WIDTH // 2] = "·"
    at = round(first + (ohm - lower) / (upper - lower) * (last - first))
    if at < first:
        line[max(at, 0)] = "◀"
    elif at > last:
        line[min(at, WIDTH - 1)] = "▶"
    else:
        line[at] = "◆"
    return "".join(line)


def chart(
    journal: JournalPlace,
    *,
    resistor: Annotated[str | None, option("Only this check standard.")] = None,
    limit: Annotated[int, option("At most so many readings of each, the latest.", min=2, max=10**9)] = 50,
    bench: OnlyBench = None,
) -> None:
    """Draw the check standard's readings between their limits: is the bench still what it was?"""
    query = Query(kinds=("check_standard",), bench=bench, with_evidence=False)
    with record_at(journal) as record:
        found = [record_of(entry, CheckStandard) for entry in record.find(query)]
    names = sorted({record.resistor for record in found})
    benches = sorted({record.bench for record in found})
    if not names and bench is not None:
        raise InputImpossible(
            f'No check standard of the bench "{bench}" is on record.', "Leave --bench out to see all."
        )
    if not names:
        raise InputImpossible(
            "No check standard is on record.", "Add a [check] table to the bench file; it asks for one then."
        )
    if resistor is not None and resistor not in names:
        raise InputImpossible(f'There is no check standard "{resistor}".', f"There are {', '.join(names)}.")
    for each, name in product(benches, names if resistor is None else [resistor]):
        records = [record for record in found if (record.bench, record.resistor) == (each, name)]
        if records:
            say(_chart(records[-limit:], f"{each}, {name}" if len(benches) > 1 else name))


def study(
    bench: Annotated[Path | None, argument("Bench file; left out where only a report is wanted.")] = None,
    sheet: Annotated[Path | None, argument("Sheet, if not the bench's own.")] = None,
    *,
    step: Annotated[str, option("Name of the step that is studied.")] = "",
    parts: Annotated[str, option("How many units, or their serials with commas: 10 is usual.")] = "",
    operators: Annotated[str, option("Who measures, with commas: ann,bo.")] = "",
    trials: Annotated[int, option("Rounds: how often everybody measures every unit.")] = 3,
    seed: Annotated[int | None, option("The same seed gives the same random order.")] = None,
    to: Annotated[Path, option("File of the record; one that is not complete is continued.")] = Path(
        "study.jsonl"
    ),
    report: Annotated[Path | None, option("Report on the study of this record; nothing is measured.")] = None,
    html: Html = None,
    pdf: Pdf = None,
    as_json: AsJson = False,
    pool_above: Annotated[
        float, option("An interaction with a larger p goes into the repeatability.", min=0.0, max=1.0)
    ] = 0.25,
) -> None:
    """Find out whether this bench can judge a step: several units, operators and rounds, in random order."""
    if (bench is None) == (report is None):
        raise InputImpossible(
            "What is to be done?", "Give a bench file to measure by, or --report FILE for what was measured."
        )
    if bench is not None:
        from acquire.study.run import Wish, run_study

        logs.set_up(level="warning")
        who = names_in(operators)
        wish = Wish(bench, sheet, step, parts_named(parts) if parts else (), who, trials, seed, to)
        report = run_loop(run_study(wish))
        if read_study(report).missing:
            return
    if report is not None:
        _report(report, html, pdf, as_json=as_json, pool_above=pool_above)


def _report(record: Path, html: Path | None, pdf: Path | None, *, as_json: bool, pool_above: float) -> None:
    """Print a report, and write its page where one is wanted."""
    for file in filter(None, (html, pdf)):
        if file.resolve() == record.resolve():
            raise InputImpossible(f"{file} is the study's record.", "Name another file for its report.")
    found = report_of(read_study(record), pool_above=pool_above)
    if html is not None or pdf is not None:
        write_document(study_document(found, study_pictures(found)), html, pdf)
    if as_json:
        say_json(as_plain(found))
    else:
        say_document(study_document(found))
