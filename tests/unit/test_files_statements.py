"""A meter file's answers: on the range in use, or found by the value."""

from __future__ import annotations

from pathlib import Path

import pytest

from acquire.files.statements import ModelStatements
from drivers.models import load_model
from drivers.reading import Quantity

HAND = ModelStatements(load_model(Path(__file__).resolve().parents[2] / "configs/meters/hand-2000.toml"))
OHMS = Quantity.RESISTANCE


@pytest.mark.parametrize(
    ("full_scale", "value", "expected"),
    [(200.0, 20.6, 200.0), (2000.0, 20.6, 2000.0), (None, 20.6, 200.0), (None, 450.0, 2000.0)],
)
def test_the_range_in_use_is_what_is_stated(full_scale, value, expected):
    """Where the meter does not tell its range, the smallest that holds the value."""
    assert HAND.in_use(OHMS, full_scale, value).range_full_scale_si == expected


@pytest.mark.parametrize(
    ("quantity", "full_scale", "value"),
    [(OHMS, 321.0, 20.0), (Quantity.RESISTANCE_4W, None, 20.0), (OHMS, None, 1e9)],
)
def test_what_the_file_does_not_state_is_none(quantity, full_scale, value):
    """A range it has not, a function it has not, a value beyond all ranges."""
    assert HAND.in_use(quantity, full_scale, value) is None


def test_the_smallest_range_that_holds_a_value():
    """For choosing a range before measuring."""
    assert HAND.holding(OHMS, 0.0).range_full_scale_si == 200.0
    assert HAND.holding(OHMS, 250.0).range_full_scale_si == 2000.0
    assert HAND.holding(OHMS, 1e9) is None


@pytest.mark.parametrize(
    ("value", "resolution", "expected"),
    [
        (46.0, 1.0, 2000.0),
        (46.1, 0.1, 200.0),
        (46.0, 0.003, 200.0),
        (460.0, 0.1, 2000.0),
        (46.0, None, 200.0),
    ],
)
def test_a_range_that_is_not_told_is_known_by_its_count(value, resolution, expected):
    """46 where 46.1 could be sent is the coarser range; a count that no range has goes by the value."""
    assert HAND.in_use(OHMS, None, value, resolution).range_full_scale_si == expected
