"""The page of a study: self-contained, well-formed, safe from names, the same twice."""

import io
import re
from html.parser import HTMLParser

import pytest
from rich.console import Console

from acquire.reports.document import Result, Table
from acquire.reports.printing import as_html, as_pdf, as_terminal
from acquire.study.document import MARKS, study_document, svg_pictures
from acquire.study.report import Fitness, report_of
from tests.known_studies import study_record as record

HOSTILE = ("<script>alert(1)</script>", "bo $x_{", "ä & ö\"'")


class Reader(HTMLParser):
    """Every tag that is opened is closed, in order."""

    VOID = frozenset({"meta", "br", "col"})

    def __init__(self):
        super().__init__()
        self.open, self.tags, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag not in self.VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def page_of(report):
    return as_html(study_document(report, svg=svg_pictures(report))).decode("utf-8")


@pytest.fixture(scope="module")
def page():
    return page_of(report_of(record(operators=HOSTILE)))


def read(page):
    reader = Reader()
    reader.feed(page)
    return reader


def test_every_tag_is_closed(page):
    assert read(page).open == []


def test_nothing_runs_and_nothing_comes_from_elsewhere(page):
    tags = read(page).tags
    assert not [tag for tag, _ in tags if tag in {"script", "iframe", "link", "img", "object"}]
    for _, attributes in tags:
        assert not [name for name in attributes if name.startswith("on")]
        for name in ("href", "xlink:href", "src"):
            assert attributes.get(name, "#").startswith("#")
    assert not re.search(r"url\((?!#)", page)


def test_names_stand_there_as_they_are(page):
    text = "".join(read(page).text)
    for name in HOSTILE:
        assert name in text
    assert "<script" not in page


def test_the_verdict_has_a_shape_and_words():
    (result,) = [
        b for b in study_document(report_of(record(operators=HOSTILE))).blocks if isinstance(b, Result)
    ]
    assert (result.mark, result.word) == (MARKS[Fitness.GOOD], "This bench can judge P1 (1–2) of Fathom 7.")
    assert set(MARKS) == set(Fitness)


def test_four_drawings_for_several_operators_and_three_for_one(page):
    assert page.count('<figure class="picture">') == 4
    assert page_of(report_of(record(operators=("ann",)))).count('<figure class="picture">') == 3


def test_it_is_a_pdf_and_goes_into_a_terminal_as_well():
    """The same blocks; a terminal is spared drawings and single values."""
    report = report_of(record())
    assert as_pdf(study_document(report, svg_pictures(report))).startswith(b"%PDF-")
    out = io.StringIO()
    Console(file=out, width=100).print(as_terminal(study_document(report)))
    text = " ".join(out.getvalue().split())
    assert text.startswith("Gauge study: P1 of Fathom 7")
    for said in (
        "8 parts × 2 operators × 3 rounds, in random order.",
        "= gauge",
        "part to part",
        "by averages and ranges",
    ):
        assert said in text
    assert "243." not in text.partition("Table of variance")[2]


def test_each_sum_stands_below_what_it_is_the_sum_of():
    tables = [
        block for block in study_document(report_of(record(operator=1.0))).blocks if isinstance(block, Table)
    ]
    assert [row[0] for row in tables[0].rows] == [
        "repeatability", "operator", "= reproducibility", "= gauge", "part to part", "= total",
    ]  # fmt: skip


def test_without_limits_the_column_of_the_tolerance_is_empty():
    blocks = study_document(report_of(record(lower_ohm=None, upper_ohm=None))).blocks
    tables = [block for block in blocks if isinstance(block, Table)]
    assert {row[4] for row in tables[0].rows} == {""}


def test_the_same_study_gives_the_same_bytes(page):
    assert page_of(report_of(record(operators=HOSTILE))) == page


def test_a_study_whose_repeats_are_all_alike_is_drawn_too():
    page = page_of(report_of(record(repeat=0.0)))
    assert "cannot tell" in page
    assert read(page).open == []


def test_every_name_in_the_page_stands_once_and_every_reference_leads_to_one(page):
    names = [attributes["id"] for _, attributes in read(page).tags if "id" in attributes]
    assert len(names) == len(set(names))
    assert set(re.findall(r'(?:href="#|url\(#)([^")]+)', page)) <= set(names)
