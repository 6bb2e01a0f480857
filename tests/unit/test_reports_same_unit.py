"""Is it ours? Odds that are right as often as they say, on units whose truth is known."""

import math

import numpy as np
import pytest

from acquire.errors import InputImpossible
from acquire.reports import same_unit
from acquire.reports.same_unit import FEWEST_SISTERS, Odds, VisitReading, odds
from tests.later import multivariate_normal

NOMINAL = np.array([202.57, 46.17, 83.19])
U, U_TEMPERATURE = 0.0008, 0.0011


class Shop:
    """Units of one type: 0.8 % together by the spool, 0.6 % each winding for itself."""

    def __init__(self, seed):
        self.dice = np.random.default_rng(seed)

    def unit(self):
        return NOMINAL * (1.0 + self.dice.normal(0.0, 0.008) + self.dice.normal(0.0, 0.006, 3))

    def read(self, unit):
        return unit * (1.0 + self.dice.normal(0.0, U_TEMPERATURE) + self.dice.normal(0.0, U, 3))

    def fault(self, unit):
        if self.dice.random() < 0.3:
            unit = unit.copy()
            unit[self.dice.integers(3)] *= self.dice.choice([0.80, 0.93, 0.95, 1.05])
        return unit

    def sisters(self, n=14):
        return [list(self.read(self.unit())) for _ in range(n)]


def readings(ohms):
    return [VisitReading(float(ohm), U, U_TEMPERATURE) for ohm in ohms]


def test_the_odds_are_right_as_often_as_they_say():
    """Three hundred returned units, half of them ours: in each class of odds, about as many are ours."""
    shop = Shop(1)
    said, true = [], []
    for _ in range(300):
        unit = shop.unit()
        left = shop.read(unit)
        ours = shop.dice.random() < 0.5
        if ours:
            back = unit * (1.0 + shop.dice.normal(0.0, 0.001, 3))
        else:
            back = shop.unit() * (1.0 + (shop.dice.normal(0.0, 0.08) if shop.dice.random() < 0.5 else 0.0))
        said.append(odds(readings(left), readings(shop.read(shop.fault(back))), shop.sisters()).this_unit)
        true.append(ours)
    said, true = np.array(said), np.array(true)
    assert true[said > 0.95].mean() > 0.90
    assert true[said < 0.05].mean() < 0.10
    assert ((said > 0.95) | (said < 0.05)).mean() > 0.5  # and it does decide
    assert abs(said.mean() - true.mean()) < 0.06
    assert ((said - true) ** 2).mean() < 0.1  # Brier score; 0.25 is a coin


def test_one_lost_winding_does_not_make_it_a_stranger():
    """Coil two lost 7 %, the others read as they did."""
    shop = Shop(3)
    left = NOMINAL * [1.004, 0.997, 1.009]
    found = odds(readings(left), readings(left * [1.0, 0.93, 1.0]), shop.sisters())
    assert found.this_unit > 0.9


def test_a_sister_and_a_stranger_are_told_from_it():
    """Another of ours within our spread; somebody else's beyond it."""
    shop = Shop(4)
    left = NOMINAL * [1.012, 0.993, 1.009]
    sisters = shop.sisters(40)
    sister = odds(readings(left), readings(NOMINAL * [0.995, 1.008, 0.992]), sisters)
    assert sister.sister > 0.8
    stranger = odds(readings(left), readings(NOMINAL * 1.11), sisters)
    assert stranger.stranger > 0.9


def test_a_warm_unit_is_still_itself():
    """Half a kelvin moves all pairs alike, and the temperature's uncertainty says so."""
    shop = Shop(5)
    left = NOMINAL * [1.012, 0.993, 1.009]
    assert odds(readings(left), readings(left * 1.002), shop.sisters(40)).this_unit > 0.9


@pytest.mark.parametrize("prior", [0.1, 0.5, 0.9])
def test_the_odds_beforehand_count_as_bayes_says(prior):
    """Odds afterwards over odds before are the same ratio, whatever was thought before."""
    shop = Shop(6)
    left, sisters = NOMINAL * 1.001, shop.sisters()
    now = readings(left * [1.004, 1.003, 1.004])
    found, even = odds(readings(left), now, sisters, prior), odds(readings(left), now, sisters, 0.5)
    assert found.this_unit + found.sister + found.stranger == pytest.approx(1.0)
    ratio = (found.this_unit / (1 - found.this_unit)) / (prior / (1 - prior))
    assert ratio == pytest.approx(even.this_unit / (1 - even.this_unit), rel=1e-9)


def test_densities_agree_with_scipy():
    """The multivariate normal law, as scipy.stats has it."""
    dice = np.random.default_rng(7)
    for pairs in (1, 3, 6):
        root = dice.normal(size=(pairs, pairs))
        law, off = root @ root.T + 0.1 * np.eye(pairs), dice.normal(size=pairs)
        assert same_unit._log_normal(off, law) == pytest.approx(multivariate_normal(cov=law).logpdf(off))


def test_many_pairs_take_no_longer_than_a_blink():
    """Forty pairs of a fixture; open or not, they are finite numbers here."""
    dice = np.random.default_rng(8)
    nominal = dice.uniform(1.0, 500.0, 40)
    sisters = [list(nominal * (1 + dice.normal(0, 0.01, 40))) for _ in range(30)]
    left = nominal * (1 + dice.normal(0, 0.01, 40))
    assert odds(readings(left), readings(left), sisters).this_unit > 0.99


@pytest.mark.parametrize(
    "change",
    [
        {"sisters": [[200.0, 46.0, 83.0]] * (FEWEST_SISTERS - 1)},
        {"sisters": [[200.0, 46.0]] * 6},
        {"sisters": [[200.0, 46.0, math.inf]] * 6},
        {"now": []},
        {"prior": 0.0},
        {"prior": 1.0},
        {"now": [VisitReading(-1.0, 0.1)] * 3},
    ],
)
def test_what_cannot_be_weighed_is_refused(change):
    good = {"then": readings(NOMINAL), "now": readings(NOMINAL), "sisters": [[200.0, 46.0, 83.0]] * 6}
    with pytest.raises(InputImpossible):
        odds(**{**good, **change})


def test_the_odds_are_plain_numbers():
    """For the page and for JSON."""
    found = odds(readings(NOMINAL), readings(NOMINAL), Shop(9).sisters())
    assert isinstance(found, Odds)
    assert all(type(each) is float for each in (found.this_unit, found.sister, found.stranger))
