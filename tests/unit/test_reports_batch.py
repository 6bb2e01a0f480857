"""The report of a batch from a journal: what counts, what is told, and the renderings of the same figures."""

from __future__ import annotations

import csv
import io
import json
import math
import random
import re
import statistics
from dataclasses import replace
from itertools import pairwise

import pytest
from rich.console import Console
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader
from acquire.journal.plain import spelt
from acquire.quantity import percent
from acquire.records import (
    BalanceFound,
    BatchEvent,
    BatchState,
    Ending,
    FaultPlace,
    FirstUnitDoubt,
    Hypothesis,
    Outcome,
    Purpose,
    TypedWhy,
    UnitStarted,
    WoundFrom,
)
from acquire.reports.batch import batch_report, batches_of
from acquire.reports.batch_document import batch_document
from acquire.reports.document import relative_to, share_text
from acquire.reports.export import BATCH_COLUMNS, batch_csv
from acquire.reports.pictures import svg_pictures
from acquire.reports.printing import as_html, as_pdf, as_terminal
from acquire.stats.capability import Share
from tests.known_records import BATCH, NOON_S, RESULT, TYPED, VERDICT
from tests.known_visits import journal_with

NOMINAL_OHM = 246.0


def started(serial, utc_s, spool="36-A", batch="lot 7", **more):
    spools = (WoundFrom("P1", spool, 1.37, 4e-4),)
    return UnitStarted(
        "bench-1", serial, "Fathom 7", "5e" * 32, Purpose.FINAL, batch, "Ida", utc_s, spools, **more
    )


def read(serial, ohm, utc_s, batch="lot 7", **more):
    verdict = replace(
        VERDICT, bench="bench-1", serial=serial, sheet="Fathom 7", step="P1", pin_a="1", pin_b="2",
        reference_ohm=ohm, raw_ohm=ohm, nominal_ohm=NOMINAL_OHM, lower_ohm=231.0, upper_ohm=261.0,
        batch=batch, standard_uncertainty_ohm=0.1, expanded_ohm=0.2, utc_s=utc_s,
    )  # fmt: skip
    return replace(verdict, **more)


def ended(serial, utc_s, outcome=Outcome.PASS, batch="lot 7", **more):
    result = replace(
        RESULT, bench="bench-1", serial=serial, sheet="Fathom 7", batch=batch, outcome=outcome,
        measured=outcome, hypotheses=(), next_pair=None, started_utc_s=utc_s, utc_s=utc_s,
    )  # fmt: skip
    return replace(result, **more)


def unit(serial, ohm, at_s, outcome=Outcome.PASS, spool="36-A", **more):
    """A whole visit: start, one value, result."""
    return [
        started(serial, at_s, spool),
        read(serial, ohm, at_s + 5.0, outcome=outcome),
        ended(serial, at_s + 9.0, outcome, **more),
    ]


def report_on(folder, records, **more):
    journal_with(folder, records)
    with JournalReader(folder) as reader:
        return batch_report(reader, "lot 7", **more)


def forty(dice, shift=-0.035):
    """Forty units, another spool from the 23rd on."""
    records = [replace(BATCH, sheet="Fathom 7", spools=())]
    for number in range(1, 41):
        spool = "36-B" if number >= 23 else "36-A"
        ohm = NOMINAL_OHM * (1.0 + dice.gauss(0.0, 0.005) + (shift if spool == "36-B" else 0.0))
        records += unit(f"F7-{number:04d}", ohm, NOON_S + 60.0 * number, spool=spool)
    return records


def page_of(report):
    return as_html(batch_document(report, svg=svg_pictures(report)))


# ------------------------------------------------------------------ what counts


def test_the_first_result_stays_and_the_last_one_shows(tmp_path):
    """A unit that failed and passes when it comes again: a first failure, and good now."""
    records = [
        *unit("A1", 246.0, NOON_S),
        *unit("A2", 270.0, NOON_S + 60, Outcome.FAIL),
        *unit("A2", 247.0, NOON_S + 120),
    ]
    report = report_on(tmp_path, records)
    assert (report.first_pass.count, report.first_pass.of, report.now.count) == (1, 2, 2)
    line = report.units[1]
    assert (line.outcome, line.now, line.visits) == (Outcome.FAIL, Outcome.PASS, 2)
    assert [point.value for point in report.series[0].points] == [246.0, 270.0]
    assert any("A2 was measured 2 times" in sentence for sentence in report.findings)


def test_a_visit_without_outcome_does_not_count(tmp_path):
    """Held as warm, then measured: the second visit is the first with a result; one without stays open."""
    records = [
        started("A1", NOON_S),
        read("A1", 255.0, NOON_S + 5),
        ended("A1", NOON_S + 9, None, ending=Ending.WARM),
        *unit("A1", 246.0, NOON_S + 60),
        started("A2", NOON_S + 120),
    ]
    report = report_on(tmp_path, records)
    assert (report.first_pass.count, report.first_pass.of, report.open_units) == (1, 1, 1)
    assert [point.value for point in report.series[0].points] == [246.0]
    assert report.units[1].why == "no result yet"


def test_what_was_asked_for_once_more_counts_by_its_last_verdict(tmp_path):
    """A failing value does not count; the one after it does. The warm check is no value of the winding."""
    records = [
        started("A1", NOON_S),
        read("A1", 270.0, NOON_S + 1, outcome=Outcome.FAIL, counts=False),
        read("A1", 246.5, NOON_S + 5),
        read("A1", 246.4, NOON_S + 7, step="warm check"),
        ended("A1", NOON_S + 9),
    ]
    report = report_on(tmp_path, records)
    assert [point.value for point in report.series[0].points] == [246.5]
    assert [each.name for each in report.yields] == ["P1"]


def test_a_result_typed_later_counts_against_the_unit(tmp_path):
    """Of two of one name the latest; its name is what was found."""
    typed = replace(
        TYPED,
        batch="lot 7",
        serial="A1",
        name="polarity",
        outcome=Outcome.FAIL,
        words="opposing",
        target="step:polarity",
        why=TypedWhy.STATED,
    )
    records = [
        *unit("A1", 246.0, NOON_S),
        replace(typed, utc_s=NOON_S + 20),
        *unit("A2", 246.0, NOON_S + 60),
        replace(typed, serial="A2", utc_s=NOON_S + 80),
        replace(typed, serial="A2", utc_s=NOON_S + 81, outcome=Outcome.PASS),
    ]
    report = report_on(tmp_path, records)
    assert [line.outcome for line in report.units] == [Outcome.FAIL, Outcome.PASS]
    assert [(bar.kind, bar.count) for bar in report.pareto] == [("polarity", 1)]
    with JournalReader(tmp_path) as reader:
        assert [(line.name, line.units, line.passed) for line in batches_of(reader)] == [("lot 7", 2, 1)]


def test_only_one_purpose_is_counted_at_a_time(tmp_path):
    """Final stays where there are any; the others are named, and shown when asked for."""
    winding = [
        replace(started("A1", NOON_S), purpose=Purpose.WINDING),
        read("A1", 240.0, NOON_S + 5, purpose=Purpose.WINDING),
        ended("A1", NOON_S + 9, purpose=Purpose.WINDING),
    ]
    records = [*winding, *unit("A1", 246.0, NOON_S + 60)]
    report = report_on(tmp_path, records)
    assert (report.purpose, report.other_purposes) == (Purpose.FINAL, (Purpose.WINDING,))
    assert [point.value for point in report.series[0].points] == [246.0]
    with JournalReader(tmp_path) as reader:
        asked = batch_report(reader, "lot 7", purpose=Purpose.WINDING)
    assert [point.value for point in asked.series[0].points] == [240.0]


def test_verdicts_before_any_start_are_not_lost(tmp_path):
    """Imported values have no visit of their own."""
    report = report_on(tmp_path, [read("A1", 246.0, NOON_S), ended("A1", NOON_S + 9)])
    assert [line.serial for line in report.units] == ["A1"]
    assert report.first_pass.of == 1


def test_a_batch_that_the_record_does_not_know_is_refused(tmp_path):
    """With the way to the list."""
    with pytest.raises(InputImpossible, match=r"no batch lot 7.*lists"):
        report_on(tmp_path, unit("A1", 1.0, NOON_S)[:0] or [replace(BATCH, batch="lot 8")])


def test_an_opened_batch_without_units_has_a_report(tmp_path):
    """Everything is empty, nothing fails."""
    report = report_on(tmp_path, [BATCH])
    assert (report.state, report.expected, report.units) == (BatchState.RUNNING, 40, ())
    assert b"Batch" in page_of(report)
    assert "none yet" in printed(report)


# ------------------------------------------------------------------ statistics


def test_a_new_spool_is_found_with_its_cause(tmp_path):
    """A step of 3.5 % at unit 23; its place, size and cause."""
    report = report_on(tmp_path, forty(random.Random(7)))
    (series,) = report.series
    (change,) = series.changes
    assert series.points[change.of.at].serial == "F7-0023"
    assert change.of.low < -0.035 * NOMINAL_OHM < change.of.high
    assert report.findings[0].startswith("From F7-0023 on P1 is 3.")
    assert report.findings[0].endswith("the spool changes from 36-A to 36-B.")
    assert len(series.stages) == 2
    assert [group.what for group in series.groups] == ["spool"]


def test_the_figures_are_those_of_the_textbook(tmp_path):
    """Individuals chart and capability by plain arithmetic: mean, s, 2.66 times the mean moving range."""
    report = report_on(tmp_path, forty(random.Random(3), shift=0.0))
    (series,) = report.series
    values = [point.value for point in series.points]
    mean = statistics.fmean(values)
    moving = statistics.fmean(abs(b - a) for a, b in pairwise(values))
    assert series.chart.level.upper == pytest.approx(mean + 2.66 * moving, rel=1e-4)
    s, of = statistics.stdev(values), series.capability
    assert of.pp.value == pytest.approx((261.0 - 231.0) / (6.0 * s))
    assert of.ppk.value == pytest.approx(min(261.0 - mean, mean - 231.0) / (3.0 * s))
    assert series.u == pytest.approx(0.1)
    assert of.meter_share == pytest.approx((0.1 / s) ** 2)


def test_means_of_subgroups_when_asked_for(tmp_path):
    """Eight subgroups of five."""
    report = report_on(tmp_path, forty(random.Random(7)), subgroup=5)
    means = report.series[0].means
    assert len(means.level.points) == 8
    assert means.level.points[0] == pytest.approx(
        statistics.fmean(point.value for point in report.series[0].points[:5])
    )
    assert any("Means" in sentence for sentence in report.series[0].mean_sentences)
    with pytest.raises(InputImpossible, match="2 to 25"), JournalReader(tmp_path) as reader:
        batch_report(reader, "lot 7", subgroup=1)


def test_windings_that_must_match_have_a_row_of_their_own(tmp_path):
    """The second less the first in per cent of their mean, between plus and minus twice the rule's limit."""
    found = BalanceFound("pair", ("S1", "S2"), (1.65, 1.63), 0.0061, 0.0006, 0.005, "S1", Outcome.FAIL)
    records = []
    for number in range(10):
        balance = (
            found if number == 4 else replace(found, ohm=(1.65, 1.6501), deviation=3e-5, outcome=Outcome.PASS)
        )
        records += unit(
            f"A{number}", 246.0 + number % 3, NOON_S + 60 * number, balances=(balance,),
            outcome=Outcome.FAIL if number == 4 else Outcome.PASS,
        )  # fmt: skip
    records = [replace(r, outcome=Outcome.PASS) if hasattr(r, "step") else r for r in records]
    report = report_on(tmp_path, records)
    row = report.series[1]
    assert (row.name, row.pair, row.unit, row.lower, row.upper) == ("pair", "S2 less S1", "%", -1.0, 1.0)
    assert row.points[4].value == pytest.approx(-200.0 * 0.02 / 3.28)
    assert row.points[4].u == pytest.approx(0.06)
    assert report.units[4].kind == "pair"
    assert "S1 and S2 of pair differ by 1.2 %, U = 0.12 %, limit 1 %" in report.units[4].why


def test_a_diagnosis_is_counted_by_its_kind(tmp_path):
    """The likeliest one; one that names nothing leaves the step."""
    thin = Hypothesis("wire_too_thin", 0.97, (FaultPlace("wire_too_thin", ("P1",), (0.26,)),))
    healthy = Hypothesis("healthy", 0.6)
    records = [
        *unit("A1", 310.0, NOON_S, Outcome.FAIL, hypotheses=(thin,)),
        *unit("A2", 310.0, NOON_S + 60, Outcome.FAIL, hypotheses=(thin,)),
        *unit("A3", 300.0, NOON_S + 120, Outcome.FAIL, hypotheses=(healthy,)),
        *unit("A4", 246.0, NOON_S + 180, Outcome.CANNOT_JUDGE),
        *unit("A5", 260.9, NOON_S + 240, Outcome.CONDITIONAL_PASS),
    ]
    report = report_on(tmp_path, records)
    assert [(bar.kind, bar.count) for bar in report.pareto] == [
        ("wire too thin", 2),
        ("P1", 1),
        ("cannot judge", 1),
    ]
    assert "97 % sure" in report.units[0].why
    assert report.first_pass.count == 1  # near a limit is a pass, what cannot be judged is none


def test_a_doubt_about_the_first_unit_is_told_with_what_became_of_it(tmp_path):
    """Who accepted it, or that nobody has."""
    doubt = replace(
        BATCH,
        deed=BatchEvent.FIRST_UNIT,
        first_serial="A1",
        first_doubt=FirstUnitDoubt(
            0.9, (Hypothesis("wire_too_thin", 0.9, (FaultPlace("wire_too_thin", ("P1",), (0.26,)),)),)
        ),
    )
    accepted = replace(BATCH, deed=BatchEvent.ACCEPTED, remark="the customer knows", utc_s=BATCH.utc_s + 5)
    report = report_on(tmp_path / "a", [BATCH, *unit("A1", 246.0, NOON_S), doubt, accepted])
    assert any(
        "in doubt: P1 is wound with wire too thin" in s and "Accepted: the customer knows" in s
        for s in report.findings
    )
    report = report_on(tmp_path / "b", [BATCH, *unit("A1", 246.0, NOON_S), doubt])
    assert any("Nobody has accepted it yet" in s for s in report.findings)


# ------------------------------------------------------------------ renderings


def printed(report, width=100):
    out = io.StringIO()
    Console(file=out, width=width).print(as_terminal(batch_document(report)))
    return out.getvalue()


HOSTILE = ["<script>alert(1)</script>", "$x^2$ & \\frac", "=1+1", "\u202eevil", "Ω 7 №", "\x1b[2J", "日本"]


def test_anybodys_text_stays_text(tmp_path):
    """As serial, batch, spool and operator, in all renderings."""
    records = []
    for number, text in enumerate(HOSTILE * 2):
        serial = f"{text}{number}"
        records += [
            started(serial, NOON_S + 60 * number, spool=text),
            read(serial, 246.0 + number % 5, NOON_S + 60 * number + 5, operator=text),
            ended(serial, NOON_S + 60 * number + 9, Outcome.FAIL if number % 3 else Outcome.PASS),
        ]
    report = report_on(tmp_path, records)
    page = page_of(report).decode()
    assert "<script" not in page
    assert "\u202e" not in page
    assert "\x1b" not in printed(report).replace("\x1b[0m", "")
    rows = list(csv.DictReader(io.StringIO(batch_csv(report), newline="")))
    assert len(rows) == len(HOSTILE * 2)
    assert not any(row["serial"].startswith("=") for row in rows)
    json.dumps(spelt(report), allow_nan=False)


def test_the_same_report_gives_the_same_page(tmp_path):
    """Byte for byte; nothing from elsewhere; small; every drawing has a name for who cannot see it."""
    report = report_on(tmp_path, forty(random.Random(7)), subgroup=5)
    page = page_of(report)
    assert page == page_of(report)
    text = page.decode()
    assert "src=" not in text
    assert "@import" not in text
    assert "default-src &#x27;none&#x27;" in text or "default-src 'none'" in text
    assert len(page) < 150_000
    assert text.count("<title>") - 1 == 2
    assert text.count('<figure class="picture">') == 2


def test_the_page_prints_no_powers_of_ten_and_no_percentage_of_nothing(tmp_path):
    """Forty units with a step of 3.5 % gave "p = 2e-85"; a strap about zero has ohms, not per cent."""
    records = forty(random.Random(7))
    dice = random.Random(5)
    for at, record in reversed(list(enumerate(records))):
        if hasattr(record, "step"):
            strap = read(
                record.serial, dice.gauss(-0.001, 0.004) + 0.03 * (at > 80), record.utc_s + 1.0, step="strap"
            )
            records.insert(at + 1, replace(strap, lower_ohm=None, upper_ohm=0.2, nominal_ohm=0.001))
    report = report_on(tmp_path, records)
    text = re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page_of(report).decode(), flags=re.DOTALL)
    assert not re.search(r"[0-9]e[-+][0-9]", text)
    assert "p\u00a0<" in text or "p &lt; 0.001" in text
    strap = next(series for series in report.series if series.name == "strap")
    assert strap.changes[0].size.endswith("Ω")
    assert not any("strap is" in each and "%" in each.partition("strap is")[2].partition(" and ")[0]
                   for each in report.findings)  # fmt: skip


@pytest.mark.parametrize(
    ("part", "whole", "spread", "said"),
    [(0.02, -0.01, 0.0, ""), (3.5, 100.0, 1.0, "3.5 %"), (0.01, 0.02, 0.01, ""), (0.0, 0.0, 0.0, "")],
)
def test_a_share_of_what_is_about_zero_is_not_printed(part, whole, spread, said):
    assert relative_to(part, whole, spread) == said


def test_the_report_is_a_pdf_as_well(tmp_path):
    """From the same document, the same bytes each time."""
    report = report_on(tmp_path, forty(random.Random(7)), subgroup=5)
    document = batch_document(report, svg_pictures(report))
    assert as_pdf(document).startswith(b"%PDF-")
    assert as_pdf(document) == as_pdf(document)


def test_csv_and_json_hold_what_the_report_counts(tmp_path):
    """One row a unit and step; the report itself as it is."""
    report = report_on(tmp_path, forty(random.Random(7)))
    rows = list(csv.DictReader(io.StringIO(batch_csv(report), newline="")))
    assert tuple(rows[0]) == BATCH_COLUMNS
    assert [float(row["value"]) for row in rows] == [point.value for point in report.series[0].points]
    assert {row["spool"] for row in rows} == {"36-A", "36-B"}
    plain = spelt(report)
    assert plain["first_pass"]["count"] == 40
    assert plain["series"][0]["capability"]["ppk"]["value"] == report.series[0].capability.ppk.value


def test_the_command_gives_each_form(tmp_path):
    """List, report, HTML, JSON, CSV; a name that is not there is bad input."""
    folder = journal_with(tmp_path / "journal", forty(random.Random(7)))
    run = CliRunner().invoke
    listed = run(app, ["batch", "--journal", str(folder)])
    assert (listed.exit_code, "lot 7" in listed.output, "40 of 40" in listed.output) == (0, True, True)
    assert json.loads(run(app, ["batch", "--journal", str(folder), "--json"]).output)[0]["passed"] == 40
    shown = run(app, ["batch", "lot 7", "--journal", str(folder)])
    assert (shown.exit_code, "From F7-0023 on P1" in " ".join(shown.output.split())) == (0, True)
    page = tmp_path / "lot.html"
    assert run(app, ["batch", "lot 7", "--journal", str(folder), "--html", str(page)]).exit_code == 0
    assert page.read_bytes().startswith(b"<!DOCTYPE html>")
    told = run(app, ["batch", "lot 7", "--journal", str(folder), "--csv"])
    assert told.output.startswith("batch,serial,step")
    absent = run(app, ["batch", "lot 9", "--journal", str(folder)])
    assert isinstance(absent.exception, InputImpossible)


def test_a_record_without_batches_says_how_to_begin_one(tmp_path):
    """Not an empty answer."""
    folder = journal_with(tmp_path, [read("A1", 246.0, NOON_S, batch="")])
    assert ".batch" in CliRunner().invoke(app, ["batch", "--journal", str(folder)]).output


@pytest.mark.parametrize(
    ("share", "said"),
    [(1.0, "100 %"), (0.9996, "100.0 %"), (0.996, "99.6 %"), (0.95, "95 %"), (0.001, "0.1 %"), (0.0, "0 %")],
)
def test_a_share_is_not_rounded_up_to_all(share, said):
    """Nearly all is not all."""
    assert percent(share) == said


def test_a_share_of_nothing_is_said_so():
    """Not "0 of 0 (0 %)"."""
    assert share_text(Share(0, 0, 0.0, 1.0)) == "none yet"
    assert math.isclose(Share(38, 40, 0.83, 0.99).share, 0.95)
