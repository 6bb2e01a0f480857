"""The check standard's chart as text."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from acquire.answers.batch import chart
from acquire.errors import InputImpossible, JournalUnusable
from tests.commands import printed
from tests.known_records import CHECK
from tests.known_visits import journal_with


def days(*readings, **changes):
    """A check a day."""
    return [
        replace(CHECK, reading_ohm=ohm, utc_s=86_400.0 * day, **changes)
        for day, ohm in enumerate(readings, start=1)
    ]


QUIET = (100.001, 99.999, 100.000, 100.002, 99.998, 100.001, 100.000, 99.999, 100.001)


def test_limits_are_those_of_the_handbook(tmp_path):
    """Centre ± 3 mean moving ranges over 1.128 (NIST e-Handbook 6.3.2.2)."""
    lines = printed(chart, journal_with(tmp_path, days(*QUIET)))
    mean_range = sum(abs(b - a) for a, b in pairwise(QUIET)) / 8
    centre = sum(QUIET) / len(QUIET)
    assert (
        f"limits {centre - 3 * mean_range / 1.128:.6g} to {centre + 3 * mean_range / 1.128:.6g}" in lines[1]
    )
    assert len(lines) == 2 + len(QUIET)
    assert all("◆" in line for line in lines[2:])


def test_a_reading_outside_points_out_of_the_picture_and_names_the_rule(tmp_path):
    """As a shape and as a word."""
    bad = replace(CHECK, reading_ohm=100.05, utc_s=9e5, in_control=False, signs=("beyond_limits", "jump"))
    lines = printed(chart, journal_with(tmp_path, [*days(*QUIET), bad]))
    assert "▶" in lines[-1]
    assert "beyond limits, jump" in lines[-1]


def test_a_bad_reading_takes_no_part_in_the_limits(tmp_path):
    """Or it would hide itself."""
    bad = replace(CHECK, reading_ohm=101.0, utc_s=9e5, in_control=False, signs=("jump",))
    with_bad = printed(chart, journal_with(tmp_path / "a", [*days(*QUIET), bad]))
    without = printed(chart, journal_with(tmp_path / "b", days(*QUIET)))
    assert with_bad[1] == without[1]


def test_few_readings_are_shown_between_what_the_certificate_allows(tmp_path):
    """And it is said that limits come later."""
    lines = printed(chart, journal_with(tmp_path, days(100.0, 100.01)))
    assert "there are 2" in lines[1]
    assert len(lines) == 4


def test_a_coarse_display_that_never_moves_can_be_drawn_too(tmp_path):
    """All readings alike: no range, no division by zero."""
    lines = printed(chart, journal_with(tmp_path, days(*[100.0] * 9)))
    assert len(lines) == 11


def test_two_resistors_have_two_charts(tmp_path):
    """Named one by one, or both."""
    folder = journal_with(tmp_path, [*days(*QUIET), *days(10.0, 10.0, resistor="R2", certificate_ohm=10.0)])
    assert sum("certified" in line for line in printed(chart, folder)) == 2
    assert printed(chart, folder, resistor="R2")[0].startswith("R2: certified 10.000 Ω")
    with pytest.raises(InputImpossible, match="R1, R2"):
        printed(chart, folder, resistor="R3")


def test_a_record_without_check_standards_says_how_to_get_one(tmp_path):
    """No empty picture."""
    with pytest.raises(InputImpossible, match=r"\[check\]"):
        printed(chart, journal_with(tmp_path, []))
    with pytest.raises(JournalUnusable):
        printed(chart, tmp_path / "none")
