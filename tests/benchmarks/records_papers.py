"""Questions of searches, papers and look-backs to a large record, for `tests.benchmarks.records`."""

from __future__ import annotations

from pathlib import Path
from tempfile import gettempdir

from acquire.answers.history import entries_of
from acquire.journal.history import JournalReader
from acquire.journal.query import Query
from acquire.records import Outcome
from acquire.reports.certificate import Given, certificate_of
from acquire.reports.certificate_check import SOFTWARE, check
from acquire.reports.certificate_document import certificate_document
from acquire.reports.document import Letterhead
from acquire.reports.export import export_csv, export_jsonl, export_parquet
from acquire.reports.label import as_svg, label_of, laid_out
from acquire.reports.lookback import Span, by_meter, by_spool, span_since_check
from acquire.reports.printing import as_html, as_pdf
from acquire.reports.returned import _sisters
from acquire.reports.visits import judged_visit, visits_on
from tests.known_records import VERDICT

GIVEN = Given(Letterhead("Kittiwake Coil Co-op"), 2e9, 2e9, SOFTWARE)
ALWAYS = Span(None, None, "")


def drained(found):
    """Take everything an iterator gives, keeping nothing."""
    return sum(1 for _ in found)


def paper_questions(folder, batches):
    """Name -> what is asked, by the functions that the commands call."""
    middle = f"lot {batches // 2 + 1}"
    serial, meter = f"{middle}-0100", VERDICT.meter_id
    target = Path(gettempdir()) / "steadyohm-benchmark-export"

    def with_record(what):
        def ask():
            with JournalReader(folder) as record:
                return what(record)

        return ask

    def searched(question):
        return with_record(lambda record: drained(entries_of(record, question)))

    def exported(write):
        def run(record):
            try:
                return write(target, record.find(Query(kinds=("verdict",), with_evidence=False)))
            finally:
                target.unlink(missing_ok=True)

        return with_record(run)

    def paper(record):
        return certificate_document(certificate_of(record, serial, GIVEN))

    def sisters(record):
        visit = judged_visit(visits_on(record, serial))
        return _sisters(record, visit, list(visit.resistances()))

    return {
        "search: outcome fail, latest 200": searched(Query(outcomes=(Outcome.FAIL,), limit=200)),
        "search: outcome fail, all": searched(Query(outcomes=(Outcome.FAIL,))),
        "search: diagnosis, all": searched(Query(diagnosis="turns")),
        "search: meter, latest 200": searched(Query(meter_id=meter, limit=200)),
        "certificate as HTML": with_record(lambda record: as_html(paper(record))),
        "certificate as PDF": with_record(lambda record: as_pdf(paper(record))),
        "certificate checked": with_record(lambda record: check(as_html(paper(record)), record)),
        "label": with_record(
            lambda record: as_svg(laid_out(label_of(judged_visit(visits_on(record, serial))), 50, 25))
        ),
        "returned: the spread of its batch": with_record(sisters),
        "look-back: meter since its check": with_record(
            lambda record: drained(by_meter(record, meter, span_since_check(record, meter)))
        ),
        "look-back: every verdict of a meter": with_record(
            lambda record: drained(by_meter(record, meter, ALWAYS))
        ),
        "look-back: every unit of a spool": with_record(lambda record: drained(by_spool(record, "36-A"))),
        "every verdict as CSV": exported(export_csv),
        "every verdict as JSON lines": exported(export_jsonl),
        "every verdict as Parquet": exported(export_parquet),
    }
