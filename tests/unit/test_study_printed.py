"""A study's report in the terminal."""

import pytest

from acquire.study.printed import lines_of
from acquire.study.report import report_of
from tests.known_studies import study_record as record


def test_the_verdict_comes_first_and_every_source_has_a_line():
    lines = list(lines_of(report_of(record(operator=1.0))))
    text = "\n".join(lines)
    assert lines[0].startswith("Gauge study of P1 (1–2) of Fathom 7, on bench-1")
    assert lines[1] == "8 parts × 2 operators × 3 rounds, in random order"
    assert lines[4].startswith("This bench can judge")
    begin = next(at for at, line in enumerate(lines) if line.startswith("where the spread comes from"))
    names = [line[:28].rstrip() for line in lines[begin + 1 : begin + 7]]
    assert names == [
        "  repeatability",
        "  operator",
        "= reproducibility",
        "= gauge",
        "  part to part",
        "= total",
    ]
    assert "kinds of parts told apart (ndc): " in text
    assert "by averages and ranges" in text


@pytest.mark.parametrize("operators", [("ann",), ("ann", "bo", "chris")])
def test_tables_stay_within_eighty_columns(operators):
    lines = list(lines_of(report_of(record(operators=operators, repeat=0.00012))))
    tables = [line for line in lines if "  " in line.strip()]
    assert tables
    assert max(map(len, tables)) <= 80


def test_without_limits_the_column_of_the_tolerance_is_empty():
    lines = list(lines_of(report_of(record(lower_ohm=None, upper_ohm=None))))
    gauge = next(line for line in lines if line.startswith("= gauge"))
    assert gauge.count("%") == 2
    assert any("Limits at 20 °C: none" in line for line in lines)
