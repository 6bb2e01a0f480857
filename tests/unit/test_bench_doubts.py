"""Doubts about a display set by hand: told once, before the reading counts, and never without reason."""

from __future__ import annotations

import pytest

from acquire.bench.doubts import DisplayDoubts
from acquire.steps.setup_choice import Wanted
from drivers.models import load_model
from drivers.reading import Flag, Kind, Quantity, Reading
from tests.whole_bench import CONFIGS

HAND = load_model(CONFIGS / "meters" / "hand-2000.toml")


def read(ohm, full, *, at_s=0.0, flags=(), visible=(), quantity=Quantity.RESISTANCE):
    """A reading; no ohms are probes in the air."""
    return Reading(
        meter_id="m",
        quantity=quantity,
        kind=Kind.OVERLOAD if ohm is None else Kind.VALUE,
        value_si=ohm,
        monotonic_s=at_s,
        utc_s=at_s,
        conversion=int(10 * at_s) + 1,
        range_full_scale_si=full,
        flags=frozenset(flags),
        flags_visible=frozenset(visible),
    )


def doubts():
    """Of a 2000-count hand meter."""
    return DisplayDoubts()


def codes(watch, *readings, wanted_ohm=55.0):
    """What is told of each reading."""
    wanted = Wanted(expected_ohm=wanted_ohm)
    return [[notice.code for notice in watch.notices(reading, wanted, HAND)] for reading in readings]


def test_a_coarser_range_than_the_step_needs_is_told_once():
    """Also over a lift; the second reading in a row tells it, since a meter may be ranging."""
    told = codes(doubts(), read(46, 2000), read(46, 2000), read(46, 2000), read(None, 2000), read(46, 2000))
    assert told == [[], ["meter.range"], [], [], []]


def test_the_sentence_names_both_ranges():
    """What it is on, and where to turn it."""
    watch, wanted = doubts(), Wanted(expected_ohm=55.0)
    watch.notices(read(46, 2000), wanted, HAND)
    (notice,) = watch.notices(read(46, 2000), wanted, HAND)
    assert notice.facts == {"full_ohm": 2e3, "finest_ohm": 200.0}


@pytest.mark.parametrize(
    "reading",
    [
        read(46, 200),
        read(46, 2000, flags=[Flag.AUTO_RANGE]),
        read(46, None),
        read(None, 20e6),
        read(400, 2000),
        read(1.2, 20, quantity=Quantity.VOLTAGE_DC),
    ],
)
def test_what_is_no_doubt_is_not_told(reading):
    """The finest range; one the meter chose; one unknown; probes in the air; a larger value; volts."""
    assert codes(doubts(), *[reading] * 4) == [[]] * 4


def test_nobody_is_asked_for_a_range_that_the_meter_does_not_have():
    """A strap of 23 mohm on the lowest range of a hand meter, and a value above all ranges."""
    assert codes(doubts(), *[read(0.1, 200)] * 3, wanted_ohm=0.028) == [[]] * 3
    assert codes(doubts(), *[read(46, 2000)] * 3, wanted_ohm=1e9) == [[]] * 3
    assert codes(doubts(), *[read(46, 2000)] * 3, wanted_ohm=None) == [[]] * 3


@pytest.mark.parametrize(("visible", "told"), [([], True), ([Flag.HOLD], False)])
def test_a_display_that_stands_still_is_suspected_where_hold_cannot_be_seen(visible, told):
    """A third of a minute without a count; a meter that shows HOLD says so itself."""
    still = [read(46, 200, at_s=second / 2, visible=visible) for second in range(60)]
    found = [code for each in codes(doubts(), *still) for code in each]
    assert found == (["meter.frozen"] if told else [])


def test_an_overload_on_a_range_that_shows_no_open_pair_is_told_once():
    """A dial left on 200 ohm at an open step; not while a meter looks for its range."""
    watch, wanted = doubts(), Wanted(open_above_ohm=1e6)
    hunting = [read(None, 200.0 * 10**n, at_s=0.4 * n) for n in range(5)]
    left = [read(None, 200.0, at_s=10.0 + second) for second in range(4)]
    told = [[notice.code for notice in watch.notices(reading, wanted, HAND)] for reading in (*hunting, *left)]
    assert told == [[]] * 7 + [["meter.range_low"], []]


def test_no_range_is_too_low_where_no_open_pair_is_asked_for():
    """A bench between two units, and a winding whose upper limit the range holds."""
    for wanted in (Wanted(), Wanted(expected_ohm=100.0, open_above_ohm=110.0)):
        watch = doubts()
        assert not [
            n for second in range(9) for n in watch.notices(read(None, 200.0, at_s=second), wanted, HAND)
        ]
