"""Commands about papers and proof: certificate, issued, sign-key, label, returned, lookback, import."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from acquire.choices import Purpose

if TYPE_CHECKING:
    from acquire.answers.papers import Targets, Wish

PLACE = "Folder of a bench's journal; or a line's database, by address or collector file."
BENCH = "Bench file: heading, logo, calibration of its meter, size of paper."
ISSUED = "Where papers are kept as issued; left out: the folder issued beside the record."


def add_to(app: typer.Typer) -> None:
    """Register these commands."""
    for command in (certificate, issued, label, returned, lookback):
        app.command()(command)
    app.command("sign-key")(sign_key)
    app.command("import")(import_papers)


def certificate(
    journal: Annotated[str | None, typer.Argument(help=PLACE)] = None,
    serial: Annotated[str | None, typer.Argument(help="Of the unit.")] = None,
    *,
    html: Annotated[
        Path | None, typer.Option(help="File or folder for the HTML; with --batch a folder. Left out: here.")
    ] = None,
    pdf: Annotated[Path | None, typer.Option(help="File or folder for a PDF; with --batch a folder.")] = None,
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
    key: Annotated[Path | None, typer.Option(help="Sign it with this key of steadyohm sign-key.")] = None,
    issued: Annotated[Path | None, typer.Option(help=ISSUED)] = None,
    check: Annotated[
        Path | None,
        typer.Option("--verify", help="Check this certificate (HTML or PDF); exit 1 if anything is wrong."),
    ] = None,
    against: Annotated[
        str | None, typer.Option("--journal", help="With --verify: the record to compare its facts with.")
    ] = None,
    public_key: Annotated[
        Path | None, typer.Option(help="With --verify: the .pub file of the key that it must be signed with.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """Issue a certificate for a unit or a whole batch, or check one that somebody brings."""
    from acquire.answers import papers as answers
    from acquire.errors import InputImpossible

    if check is not None:
        _verify(check, against or journal, issued, public_key, as_json=as_json)
        return
    if journal is None or (serial is None) == (batch is None):
        raise InputImpossible(
            "A certificate is of one unit or of one batch.",
            "Write: steadyohm certificate JOURNAL SERIAL, or steadyohm certificate JOURNAL --batch NAME.",
        )
    wish = answers.Wish(purpose, customer, received, condition, remark, replaces, key)
    targets = answers.Targets(Path() if html is None and pdf is None else html, pdf)
    _issue(journal, serial, batch, wish, targets, (bench, issued), as_json=as_json)


def _issue(
    journal: str,
    serial: str | None,
    batch: str | None,
    wish: Wish,
    targets: Targets,
    files: tuple[Path | None, Path | None],
    *,
    as_json: bool,
) -> None:
    from acquire.answers import papers as answers
    from acquire.clock import RealClock
    from acquire.files.settings import load_bench
    from acquire.line.places import record_at

    bench = None if files[0] is None else load_bench(files[0])
    kept = answers.papers_of(journal, files[1])
    with record_at(journal) as record:
        serials = [serial or ""] if batch is None else answers.serials_of(record, batch)
        for folder in filter(None, (targets.html, targets.pdf) if batch else ()):
            answers.folder_for(folder)
        for each in serials:
            found = answers.certify(record, each, wish, bench, RealClock())
            paths = [str(path) for path in answers.issue(found, targets, kept, wish.key)]
            if as_json:
                plain = {"serial": each, "id": found.number, "sha256": found.digest, "files": paths}
                typer.echo(json.dumps(plain, ensure_ascii=False))
            else:
                typer.echo(f"{each}: certificate {found.number}: {', '.join(paths)}")


def _verify(
    file: Path, journal: str | None, issued: Path | None, public_key: Path | None, *, as_json: bool
) -> None:
    from acquire.answers.papers import verify

    found = verify(file, journal, issued, public_key)
    if as_json:
        plain = {
            "id": found.number,
            "sha256": found.digest,
            "serial": found.serial,
            "as_issued": found.issued,
            "page_as_drawn": found.page,
            "facts_on_record": found.record,
            "signed": found.signed,
            "superseded": found.superseded,
            "sentences": found.sentences,
        }
        typer.echo(json.dumps(plain, ensure_ascii=False))
    else:
        for sentence in found.sentences:
            typer.echo(sentence)
    raise typer.Exit(0 if found.sound else 1)


def issued(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    word: Annotated[
        str,
        typer.Argument(help="Number of a paper, serial of a unit, or entry of its result; left out: all."),
    ] = "",
    *,
    to: Annotated[
        Path | None,
        typer.Option(help="Write the paper again into this file, as it was issued: .html, .pdf or .svg."),
    ] = None,
    folder: Annotated[Path | None, typer.Option("--issued", help=ISSUED)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """List the certificates and labels that were issued, whether each is still good, or print one again."""
    from acquire.answers.papers import issued_lines, papers_of, print_again
    from acquire.errors import InputImpossible
    from acquire.journal.plain import spelt
    from acquire.line.places import record_at
    from acquire.reports.figures import moment

    papers = papers_of(journal, folder)
    with record_at(journal) as record:
        found = issued_lines(record, papers, word)
    if to is not None and len(found) != 1:
        raise InputImpossible(
            f"{len(found)} papers are of {word or 'this record'}.", "Give the number of one."
        )
    for paper, superseded in found:
        if as_json:
            typer.echo(json.dumps({**spelt(paper), "superseded": superseded}, ensure_ascii=False))
        else:
            forms = ", ".join(sorted(paper.files))
            state = superseded or "Good: the unit's result is still this one."
            typer.echo(
                f"{paper.number}  {moment(paper.issued_utc_s)}  {paper.kind} of {paper.serial} ({forms}): "
                f"{state}"
            )
    if to is not None:
        typer.echo(f"{found[0][0].number}: {print_again(papers, found[0][0], to)}", err=as_json)


def sign_key(
    file: Annotated[Path, typer.Argument(help="Where the key goes; FILE.pub beside it is for everybody.")],
) -> None:
    """Make a key that certificates are signed with, and the public key that shows who signed them."""
    from acquire.reports.signing import make_keys

    public, fingerprint = make_keys(file)
    typer.echo(
        f"{file}: the key; keep it to yourself. {public}: for whoever checks certificates. It is "
        f"{fingerprint}."
    )


def label(
    journal: Annotated[str, typer.Argument(help=PLACE)],
    serial: Annotated[str, typer.Argument(help="Of the unit.")],
    *,
    svg: Annotated[Path | None, typer.Option(help="File or folder for the SVG. Left out: here.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="File or folder for a PDF of the label's size.")] = None,
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
    issued: Annotated[Path | None, typer.Option(help=ISSUED)] = None,
) -> None:
    """Draw the label for a unit: serial, verdict, date, and a QR code that the bench's scanner can read."""
    from acquire.answers import papers as answers
    from acquire.clock import RealClock
    from acquire.files.settings import load_bench
    from acquire.line.places import record_at

    known = None if bench is None else load_bench(bench)
    size = answers.size_mm(width, height, known)
    targets = answers.Targets(pdf=pdf, svg=Path() if svg is None and pdf is None else svg)
    with record_at(journal) as record:
        facts, visit = answers.label_facts(record, serial, known, purpose, id_in_code=id_in_code)
    kept = answers.papers_of(journal, issued)
    for path in answers.issue_label(facts, visit, size, targets=targets, papers=kept, clock=RealClock()):
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
    from math import floor

    from acquire.answers.papers import Targets, letterhead_of, write_document
    from acquire.clock import RealClock
    from acquire.files.settings import load_bench
    from acquire.line.places import record_at
    from acquire.reports import returned as reports
    from acquire.reports.returned_document import as_plain, returned_document

    targets = Targets(html, pdf)
    with record_at(journal) as record:
        found = reports.returned(record, serial, prior, from_paper=paper)
    head, size, signed = letterhead_of(None if bench is None else load_bench(bench))
    document = returned_document(found, head, size, float(floor(RealClock().utc_s())), signed)
    write_document(document, targets)
    if as_json:
        typer.echo(json.dumps(as_plain(found), ensure_ascii=False))
        return
    from acquire.outlets.console import BenchConsole
    from acquire.reports.terminal import as_terminal

    BenchConsole().print(as_terminal(document))


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
        bool, typer.Option("--since-check", help="Since the meter's check standard was last in control.")
    ] = False,
    bench: Annotated[str | None, typer.Option(help="Only this bench, of a line's record.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write the table into this CSV file.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line, for programs.")] = False,
) -> None:
    """List what rests on a meter found unfit, or which units hold wire of a bad spool."""
    from acquire.answers.papers import line_of, rows_of, span_of, write_csv
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
