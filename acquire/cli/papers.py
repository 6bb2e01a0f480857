"""Commands about papers and proof: certificate, label, returned, lookback, import."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from acquire.choices import Purpose

if TYPE_CHECKING:
    from acquire.answers.certificate import Wish

PLACE = "Folder of a bench's journal; or a line's database, by address or collector file."
BENCH = "Bench file: heading, logo, calibration of its meter, size of paper."


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (certificate, label, returned, lookback):
        app.command()(command)
    app.command("import")(import_papers)


def certificate(
    journal: Annotated[str | None, typer.Argument(help=PLACE)] = None,
    serial: Annotated[str | None, typer.Argument(help="Of the unit.")] = None,
    *,
    html: Annotated[
        Path | None, typer.Option(help="Where the HTML goes; with --batch a folder. Left out: here.")
    ] = None,
    pdf: Annotated[Path | None, typer.Option(help="Where a PDF goes; with --batch a folder.")] = None,
    batch: Annotated[str | None, typer.Option(help="Certificates for all units of this batch.")] = None,
    bench: Annotated[Path | None, typer.Option(help=BENCH)] = None,
    purpose: Annotated[
        Purpose | None, typer.Option(help="Certify the latest test for this purpose; left out: the latest.")
    ] = None,
    customer: Annotated[str, typer.Option(help="Who the unit belongs to.")] = "",
    received: Annotated[str, typer.Option(help="When it was received, in words.")] = "",
    condition: Annotated[str, typer.Option(help="In what condition it came.")] = "",
    remark: Annotated[str, typer.Option(help="A remark that goes on the certificate.")] = "",
    replaces: Annotated[str, typer.Option(help="Number of an earlier certificate that it replaces.")] = "",
    check: Annotated[
        Path | None,
        typer.Option("--verify", help="Check this certificate (HTML or PDF); exit 1 if it is not as drawn."),
    ] = None,
    against: Annotated[
        str | None, typer.Option("--journal", help="With --verify: the record to compare its facts with.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """Issue a certificate for a unit or a whole batch, or check one that somebody brings."""
    from acquire.answers import certificate as answers
    from acquire.errors import InputImpossible

    if check is not None:
        _verify(check, against or journal, as_json=as_json)
        return
    if journal is None or (serial is None) == (batch is None):
        raise InputImpossible(
            "A certificate is of one unit or of one batch.",
            "Write: steadyohm certificate JOURNAL SERIAL, or steadyohm certificate JOURNAL --batch NAME.",
        )
    wish = answers.Wish(purpose, customer, received, condition, remark, replaces)
    _issue(journal, serial, batch, wish, (html, pdf, bench), as_json=as_json)


def _issue(
    journal: str,
    serial: str | None,
    batch: str | None,
    wish: Wish,
    files: tuple[Path | None, ...],
    *,
    as_json: bool,
) -> None:
    from acquire.answers.certificate import file_name, folder_for, issue, serials_of, write
    from acquire.clock import RealClock
    from acquire.files.settings import load_bench
    from acquire.line.places import record_at

    html, pdf, bench_file = files
    bench = None if bench_file is None else load_bench(bench_file)
    if html is None and pdf is None:
        html = Path() if batch else Path(file_name("certificate", serial or "", "html"))
    with record_at(journal) as record:
        serials = [serial or ""] if batch is None else serials_of(record, batch)
        for folder in filter(None, (html, pdf) if batch else ()):
            folder_for(folder)
        for each in serials:
            facts = issue(record, each, wish, bench, RealClock())
            into = html and (html / file_name("certificate", each, "html") if batch else html)
            into_pdf = pdf and (pdf / file_name("certificate", each, "pdf") if batch else pdf)
            paths = [str(path) for path in write(facts, into, into_pdf)]
            if as_json:
                plain = {"serial": each, "id": facts.id, "sha256": facts.digest, "files": paths}
                typer.echo(json.dumps(plain, ensure_ascii=False))
            else:
                typer.echo(f"{each}: certificate {facts.id}: {', '.join(paths)}")


def _verify(file: Path, journal: str | None, *, as_json: bool) -> None:
    from acquire.answers.certificate import verify

    found = verify(file, journal)
    if as_json:
        plain = {
            "id": found.facts.id,
            "sha256": found.facts.digest,
            "serial": found.facts.measured.serial,
            "page_as_drawn": found.page,
            "facts_on_record": found.record,
            "sentences": found.sentences,
        }
        typer.echo(json.dumps(plain, ensure_ascii=False))
    else:
        for sentence in found.sentences:
            typer.echo(sentence)
    raise typer.Exit(0 if found.sound else 1)


def label(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    serial: Annotated[str, typer.Argument(help="Of the unit.")],
    *,
    svg: Annotated[Path | None, typer.Option(help="Where the SVG goes. Left out: here.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Where a PDF of the label's size goes.")] = None,
    bench: Annotated[Path | None, typer.Option(help="Bench file: shop's name, size of labels.")] = None,
    width: Annotated[str | None, typer.Option(help='Such as "62 mm"; left out, the bench file\'s.')] = None,
    height: Annotated[str | None, typer.Option(help='Such as "29 mm"; left out, the bench file\'s.')] = None,
    purpose: Annotated[
        Purpose | None, typer.Option(help="The latest test for this purpose; left out: the latest.")
    ] = None,
    id_in_code: Annotated[
        bool,
        typer.Option("--id-in-code", help="The code holds the result's id behind the serial, not it alone."),
    ] = False,
) -> None:
    """Draw the label for a unit: serial, verdict, date, and a QR code that the bench's scanner can read."""
    from acquire.answers.certificate import file_name
    from acquire.answers.label import label_facts, size_mm, write_label
    from acquire.files.settings import load_bench
    from acquire.line.places import record_at

    known = None if bench is None else load_bench(bench)
    size = size_mm(width, height, known)
    if svg is None and pdf is None:
        svg = Path(file_name("label", serial, "svg"))
    with record_at(journal) as record:
        facts = label_facts(record, serial, known, purpose, id_in_code=id_in_code)
    for path in write_label(facts, size, svg, pdf):
        typer.echo(f"{serial}: {path}, {size[0]:g} mm by {size[1]:g} mm")


def returned(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    serial: Annotated[str, typer.Argument(help="Of the unit that came back.")],
    *,
    prior: Annotated[
        float,
        typer.Option(
            min=0.001, max=0.999, help="How likely it is ours before any ohms are compared, 0 to 1."
        ),
    ] = 0.5,
    paper: Annotated[
        bool, typer.Option("--paper", help="Compare with its imported paper record, not with a visit.")
    ] = False,
    html: Annotated[Path | None, typer.Option(help="A page for the customer.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="The same as PDF.")] = None,
    bench: Annotated[Path | None, typer.Option(help="Bench file: heading and size of paper.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object, for programs.")] = False,
) -> None:
    """Compare a returned unit with what it read when it left: what has changed, and is it ours?"""
    from acquire.answers.returned import write_returned
    from acquire.clock import RealClock
    from acquire.files.settings import load_bench
    from acquire.journal.plain import spelt
    from acquire.line.places import record_at
    from acquire.reports import returned as reports
    from acquire.reports.returned_pages import lines, sentences

    with record_at(journal) as record:
        found = reports.returned(record, serial, prior, from_paper=paper)
    known = None if bench is None else load_bench(bench)
    write_returned(found, known, RealClock(), html, pdf)
    if as_json:
        plain = {**spelt(found), "sentences": list(sentences(found))}
        typer.echo(json.dumps(plain, ensure_ascii=False))
        return
    for line in lines(found):
        typer.echo(line)


def lookback(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    *,
    meter: Annotated[str | None, typer.Option(help="Every verdict that this meter gave, by its id.")] = None,
    spool: Annotated[
        str | None, typer.Option(help="Every unit wound from this spool, as written on it.")
    ] = None,
    since: Annotated[str | None, typer.Option(help="From this day or time on (UTC).")] = None,
    until: Annotated[str | None, typer.Option(help="To the end of this day, or before this time.")] = None,
    since_check: Annotated[
        bool,
        typer.Option("--since-check", help="Since the meter's check standard was last in control."),
    ] = False,
    bench: Annotated[str | None, typer.Option(help="Only this bench, of a line's record.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the table into this CSV file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """List what rests on a meter found unfit, or which units hold wire of a bad spool."""
    from acquire.answers.lookback import line_of, rows_of, span_of, write_csv
    from acquire.journal.plain import spelt
    from acquire.line.places import record_at
    from acquire.reports.lookback import MeterRow, SpoolRow, Tally

    tally = Tally()
    with record_at(journal) as record:
        span = span_of(record, meter, since, until, since_check=since_check, bench=bench)
        if span.sentence:
            typer.echo(span.sentence, err=as_json)
        rows = tally.count(rows_of(record, meter, spool, span, bench))
        if csv is not None:
            write_csv(csv, rows, MeterRow if meter is not None else SpoolRow)
        for row in rows:  # none is left where they went into the file
            typer.echo(json.dumps(spelt(row), ensure_ascii=False) if as_json else line_of(row))
    told = tally.sentence("verdict" if meter is not None else "stay")
    typer.echo(f"{csv}: {told}" if csv is not None else told, err=as_json)


def import_papers(
    file: Annotated[Path, typer.Argument(help="CSV file of earlier paper records.")],
    journal: Annotated[
        Path, typer.Argument(help="Folder of the bench's journal; the bench must not be at work.")
    ],
    *,
    sheet: Annotated[Path, typer.Option(help="Sheet of the unit type.")],
    dry: Annotated[
        bool, typer.Option("--dry", help="Only check the file; nothing goes on the record.")
    ] = False,
) -> None:
    """Bring earlier paper records onto the journal, marked as imported; each row is checked."""
    from acquire.answers.importing import read_papers, take
    from acquire.clock import RealClock

    results, doubts = read_papers(file, journal, sheet, RealClock())
    for doubt in doubts:
        typer.echo(doubt, err=True)
    units = len({result.serial for result in results})
    if not dry:
        take(results, journal)
    done = "in order" if dry else "imported"
    typer.echo(f"{file}: {done}: values {len(results)}, units {units}")
