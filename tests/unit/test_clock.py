"""Clocks: the real one never goes back, the fast one runs as fast as it says, the other stands still."""

from __future__ import annotations

import time

import pytest

from acquire.clock import HandClock, RealClock, UtcWatch


def test_the_real_clock_follows_the_machine():
    """At speed 1 it is the machine's own time."""
    clock = RealClock()
    assert clock.utc_s() == pytest.approx(time.time(), abs=0.5)
    readings = [clock.monotonic_s() for _ in range(100)]
    assert readings == sorted(readings)


def test_a_fast_clock_runs_as_fast_as_it_says():
    """Ten seconds of the bench in one of the world, for both hands alike."""
    clock = RealClock(10.0)
    before_s, real_s = clock.pair(), time.monotonic()
    time.sleep(0.1)
    passed_s = 10.0 * (time.monotonic() - real_s)
    for before, after in zip(before_s, clock.pair(), strict=True):
        assert after - before == pytest.approx(passed_s, rel=0.1)


def test_a_clock_turned_by_hand_stands_still_until_it_is_turned():
    """Both hands together."""
    clock = HandClock(5.0, 100.0)
    assert clock.pair() == clock.pair() == (5.0, 100.0)
    clock.turn(2.5)
    assert (clock.monotonic_s(), clock.utc_s()) == (7.5, 102.5)


def test_utc_that_was_set_is_noticed_once_and_slewing_is_not():
    """Two seconds or more behind the monotonic clock between two looks, or a minute ahead of it."""
    watch = UtcWatch()
    looks = [(0.0, 100.0), (1.0, 100.9), (2.0, 4000.0), (3.0, 3997.0), (4.0, 3998.0)]
    assert [watch.set_by_s(*look) for look in looks] == pytest.approx([0.0, 0.0, 3898.1, -4.0, 0.0])
