"""The doubt: its signs are ratios, it holds back and widens, and it never makes or moves a report."""

from __future__ import annotations

from collections import deque

import pytest

from acquire.records.settled import Learned, Settled
from acquire.settle import SettleFilter, SettleSettings, weights
from acquire.settle.doubt import Surroundings, ask, signs
from acquire.settle.learning import signs_of
from acquire.settle.noise import RangeNoise
from acquire.settle.points import Points
from acquire.settle.rest import student_975
from drivers.reading import Kind, Quantity, Reading

NEW, STILL = Learned(), Learned(restless=-2.6, moved=0.01)
RESTLESS = Learned(restless=-1.0, moved=0.4, creeping=3.0, creep_s=4.0)
SETTINGS = SettleSettings(noise_counts=0.45)


def seen(values_si, count_si=0.1, band=3.0, interval_s=0.4, ohms=True, learned=NEW):
    points = Points(count_si, RangeNoise(0.2, 4.0))
    around = Surroundings(deque(maxlen=40), 0.0, ohms)
    for k, v in enumerate(values_si):
        points.add(k * interval_s, v, 1)
        around.remember(k * interval_s, v)
    return signs(points, points.line(6), band, around, signs_of(learned))


def reports(values_si, doubt, learned=None):
    run = SettleFilter(SETTINGS, doubt, learned)
    out = []
    for k, v in enumerate([None, None, *values_si]):
        kind = Kind.OVERLOAD if v is None else Kind.VALUE
        out += run.feed(Reading("m", Quantity.RESISTANCE, kind, v, k * 0.4, k * 0.4, k, 200.0, 0.1))
    return [e for e in out if isinstance(e, Settled)]


CREEP = [round(40 + 9 * 0.75**k, 1) for k in range(40)]


def test_there_is_a_weight_for_every_sign():
    width = len(seen([47.3] * 10))

    assert all(len(row) == width for row, _ in weights.HIDDEN)
    assert all(len(row) == len(weights.HIDDEN) for row, _ in weights.ANSWERS)


@pytest.mark.parametrize("factor", [1e-6, 10.0, 1e6])
def test_the_signs_of_what_is_not_in_ohms_do_not_know_its_size(factor):
    values = [5.0, 4.6, 4.3, 4.2, 4.1, 4.1, 4.0, 4.1, 4.0, 4.0]

    scaled = seen([v * factor for v in values], count_si=0.1 * factor, ohms=False)

    assert scaled == pytest.approx(seen(values, ohms=False), rel=1e-6, abs=1e-9)


def test_a_long_still_contact_is_doubted_less_than_one_still_moving():
    still, _, _ = ask(seen([47.3] * 20))
    moving, _, _ = ask(seen([47.3 + 6.0 * 0.8**k for k in range(12)]))

    assert still < 0.02
    assert moving > 10 * still


@pytest.mark.parametrize(
    "values",
    [[47.8, 47.6, 47.5, *([47.4] * 2), *([47.3] * 3)], [47.6, *([47.5] * 2), *([47.4] * 4), *([47.3] * 2)]],
)
def test_the_same_contact_is_doubted_more_where_contacts_creep(values):
    still, restless = (ask(seen(values, learned=each))[0] for each in (STILL, RESTLESS))

    assert still < 0.6 * restless


def test_a_doubt_holds_back_and_never_brings_forward():
    trusting = reports(CREEP, lambda _: (0.0, 0.0, 0.0))
    usual = reports(CREEP, ask)

    assert usual
    assert usual[0].monotonic_s >= trusting[0].monotonic_s
    assert reports(CREEP, lambda _: (1.0, 0.0, 0.0)) == []


def test_a_doubt_widens_the_interval_and_leaves_the_value():
    plain = reports(CREEP, lambda _: (0.0, 0.0, 0.0))[0]
    wide = reports(CREEP, lambda _: (0.0, 2.0, 0.0))[0]

    assert wide.value_si == plain.value_si
    assert wide.expanded_si > 1.5 * plain.expanded_si
    assert wide.type_a_si == plain.type_a_si
    assert wide.drift_si > plain.drift_si


def test_a_bench_of_still_contacts_does_not_narrow_what_holds_the_wrong_ones():
    """A wrong value lies outside the band: a factor learnt of the right ones must not cut U to less."""
    easy = Learned(widening=0.6)

    (first, *_) = reports([47.3] * 12, lambda _: (0.004, 0.2, 1.5), easy)

    assert first.expanded_si >= 1.5 * 0.3


def test_student_factor_against_the_published_table():
    """JCGM 100:2008, table G.2, 95 % column: 4 -> 2.78, 10 -> 2.23, 20 -> 2.09, infinity -> 1.960."""
    assert student_975(4) == pytest.approx(2.78, abs=0.005)
    assert student_975(10) == pytest.approx(2.23, abs=0.005)
    assert student_975(20) == pytest.approx(2.09, abs=0.01)
    assert student_975(1e9) == pytest.approx(1.960, abs=0.001)
