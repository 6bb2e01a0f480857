"""The label for a unit: everything lies on it, at any size, whatever the serial holds."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from acquire.cli import app
from acquire.errors import InputImpossible
from acquire.records import Outcome, Purpose
from acquire.reports.document import qr_svg
from acquire.reports.label import LabelFacts, as_pdf, as_svg, laid_out
from tests.known_records import NOON_S
from tests.known_visits import SERIAL, journal_with, shop_day
from tests.tries import tries

FACTS = LabelFacts(
    "P80-0001", "Plover 80", Outcome.PASS, Purpose.FINAL, NOON_S, "6e07029217524548-10", "Otterbeck"
)


def test_it_says_what_a_label_must():
    """As text, in the file's own millimetres."""
    text = as_svg(laid_out(FACTS, 50.0, 25.0)).decode()
    root = ET.fromstring(text)  # noqa: S314  (our own)
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("50mm", "25mm", "0 0 50 25")
    for part in (
        "P80-0001",
        "● Pass",
        "Plover 80",
        "final, 2025-11-25",
        "Otterbeck",
        "No. 6e07029217524548-10",
    ):
        assert part in text


def test_it_says_what_the_verdict_is_not():
    """Of values that somebody typed, and of a continuity whose tolerance nobody judged."""
    assert "values typed" in as_svg(laid_out(replace(FACTS, limits="values typed"), 50.0, 25.0)).decode()


def test_it_says_why_a_unit_is_no_plain_pass():
    """In lines of thirty letters, so that a label printer can still write it."""
    why = "Trigger lies 0.2 Ω within its limit; U = 0.31 Ω with the unit's temperature."
    drawing = laid_out(replace(FACTS, outcome=Outcome.CONDITIONAL_PASS, reason=why), 50.0, 25.0)
    assert why in " ".join(line.text.replace("\N{NO-BREAK SPACE}", " ") for line in drawing.lines)


def test_every_verdict_has_its_own_shape():
    """So that no colour is needed, and no language."""
    texts = [as_svg(laid_out(replace(FACTS, outcome=each), 50.0, 25.0)).decode() for each in Outcome]
    shapes = [re.search("[●◑◒✖?] ", text)[0] for text in texts]
    assert len(set(shapes)) == len(Outcome)


@given(
    st.text(min_size=1, max_size=200),
    st.sampled_from([(50, 25), (10, 10), (200, 10), (12, 200), (62, 29), (25, 50)]),
)
@tries(60)
def test_everything_lies_on_the_label(serial, size):
    """Squares and the beginnings of lines; the SVG is well-formed whatever the serial holds."""
    drawing = laid_out(replace(FACTS, serial=serial), *map(float, size))
    if drawing.code is not None:
        _, x, y, side = drawing.code
        assert 0.0 <= x <= x + side <= size[0]
        assert 0.0 <= y <= y + side <= size[1]
    for line in drawing.lines:
        assert 0.0 <= line.x <= size[0]
        assert 0.0 < line.y <= size[1]
        assert line.x + 0.62 * line.size * len(line.text) <= size[0] + 1e-9
    root = ET.fromstring(as_svg(drawing))  # noqa: S314  (our own)
    assert {element.tag.rpartition("}")[2] for element in root.iter()} <= {
        "svg",
        "rect",
        "path",
        "text",
    }  # a code is an svg too


def test_the_code_is_that_of_the_serial_alone():
    """A scanner hands over what it reads, and that starts the unit; the id goes along on request."""
    assert FACTS.code_text == "P80-0001"
    assert replace(FACTS, id_in_code=True).code_text == "P80-0001 6e07029217524548-10"
    assert qr_svg("P80-0001") in as_svg(laid_out(FACTS, 50.0, 25.0)).decode()
    # version 1 (ISO/IEC 18004:2015, table 1: 14 bytes at level M), four white squares around it (5.3.8)
    assert 'viewBox="0 0 29 29"' in qr_svg("P80-0001")
    assert ' d="M4 4.5h7' in qr_svg("P80-0001")  # the upper edge of a finder pattern


def test_a_code_too_fine_to_print_is_left_out():
    """On a label of a centimetre with a long serial, and for a serial that no code can hold."""
    assert not laid_out(replace(FACTS, serial="x" * 60), 10.0, 10.0).code
    assert not laid_out(replace(FACTS, serial="x" * 5000), 100.0, 100.0).code


def test_a_pdf_has_the_labels_size():
    """Points are 1/72 inch: 62 mm by 29 mm are 175.75 by 82.20."""
    content = as_pdf(laid_out(FACTS, 62.0, 29.0), "label", NOON_S)
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", content)
    assert [float(each) for each in box.groups()] == pytest.approx([175.75, 82.20], abs=0.01)
    assert content == as_pdf(laid_out(FACTS, 62.0, 29.0), "label", NOON_S)


@pytest.mark.parametrize("size", [(9.0, 25.0), (50.0, 500.0), (float("nan"), 25.0)])
def test_sizes_of_no_label_are_refused(size):
    with pytest.raises(InputImpossible, match="cannot be drawn"):
        laid_out(FACTS, *size)


def test_as_it_is_typed(tmp_path):
    """With a size of its own."""
    journal = journal_with(tmp_path / "journal", shop_day())
    words = [
        "label",
        str(journal),
        SERIAL,
        "--svg",
        str(tmp_path / "l.svg"),
        "--width",
        "62 mm",
        "--height",
        "29 mm",
    ]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert done.exit_code == 0
    assert done.output.endswith("l.svg, 62 mm by 29 mm\n")
    assert SERIAL in (tmp_path / "l.svg").read_text(encoding="utf-8")
