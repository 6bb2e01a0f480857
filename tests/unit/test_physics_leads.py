"""The lead zero: subtracting it, its age, and when it has moved too far."""

import math

import pytest

from acquire.errors import InputImpossible
from acquire.physics.leads import NEVER_ZEROED_OHM, age_s, moved, subtract, uncertainty_ohm
from acquire.records import LeadZero


def zero(ohm=0.21, u=0.005, utc_s=1000.0):
    return LeadZero(bench="left", meter_id="m", value_ohm=ohm, standard_uncertainty_ohm=u, utc_s=utc_s)


def test_a_reading_is_reduced_by_the_zero():
    assert subtract(0.61, zero(0.21)) == pytest.approx(0.40)


def test_nothing_is_guessed_for_leads_never_zeroed():
    assert subtract(0.61, None) == 0.61
    assert uncertainty_ohm(None, 0.0) == pytest.approx(NEVER_ZEROED_OHM / math.sqrt(3))


def test_uncertainty_grows_with_the_hours_but_never_beyond_leads_never_zeroed():
    fresh, hour, shift, year = (uncertainty_ohm(zero(), 1000.0 + h * 3600) for h in (0, 1, 8, 8760))
    assert fresh == 0.005
    assert hour == pytest.approx(math.hypot(0.005, 0.002))
    assert fresh < hour < shift < year
    assert year == uncertainty_ohm(None, 0.0)


def test_a_poor_zero_is_not_made_better_by_the_cap():
    assert uncertainty_ohm(zero(u=0.4), 1000.0) == 0.4


def test_a_clock_set_back_makes_no_negative_age():
    assert age_s(zero(utc_s=1000.0), 10.0) == 0.0
    assert uncertainty_ohm(zero(), 10.0) == 0.005


@pytest.mark.parametrize(
    ("after", "expected"), [(0.26, False), (0.2599, False), (0.2601 + 0.01, True), (0.15, True)]
)
def test_a_zero_has_moved_when_it_differs_by_more_than_half_the_expanded_uncertainty(after, expected):
    assert moved(zero(0.21), zero(after), expanded_ohm=0.101) is expected


def test_negative_uncertainties_are_refused():
    with pytest.raises(InputImpossible, match="negative"):
        uncertainty_ohm(zero(u=-0.1), 1000.0)
    with pytest.raises(InputImpossible, match="negative"):
        moved(zero(), zero(), -0.1)
    with pytest.raises(InputImpossible, match="finite number"):
        moved(zero(), zero(), float("nan"))
