"""The probes' contact as the meter's terminals see it."""

from __future__ import annotations

import math
import random

import pytest

from sim.probes import Ambient, ContactHabit, Probes, new_touch
from tests.known_units import PLOVER_80


def touched(habit, pair=("1", "2"), seed=1):
    """Probes on a nominal unit since time 0."""
    probes = Probes(Ambient(random.Random(1), 20.0))
    probes.place(PLOVER_80.nominal())
    touch = new_touch(random.Random(seed), habit, pair, 0.0)
    probes.touch(touch)
    return probes, touch


def test_film_and_creep_die_away_and_leave_leads_and_contact():
    """After many time constants only what stays is left."""
    habit = ContactHabit(film_chance=1, creep_chance=1, bounces=0, pressure_ohm=(1e-9, 2e-9))
    probes, touch = touched(habit)
    ideal_ohm = PLOVER_80.nominal().ohm("1", "2", 20.0)
    early, late = probes.ohm(0.01, four_wire=False), probes.ohm(60.0, four_wire=False)
    air_celsius = probes.ambient.celsius(60.0)
    warm_ohm = PLOVER_80.nominal().ohm("1", "2", air_celsius)
    assert early > late
    assert late == pytest.approx(warm_ohm + touch.lead_ohm + touch.contact_ohm, abs=1e-6)
    assert late == pytest.approx(ideal_ohm, rel=0.01)


def test_four_wires_take_film_pressure_leads_and_contact_away():
    """Only the unit is left, and its own creep."""
    probes, _ = touched(ContactHabit(film_chance=1, creep_chance=0, bounces=0))
    expected = PLOVER_80.nominal().ohm("1", "2", probes.ambient.celsius(0.5))
    assert probes.ohm(0.5, four_wire=True) == pytest.approx(expected)


def test_bounces_are_open_and_come_within_the_first_half_second():
    """At most three, as the habit says."""
    for seed in range(50):
        probes, touch = touched(ContactHabit(bounces=3), seed=seed)
        assert len(touch.gaps) <= 3
        for begin_s, end_s in touch.gaps:
            assert math.isinf(probes.ohm((begin_s + end_s) / 2, four_wire=False))
            assert end_s < 0.5


def test_before_the_touch_and_after_the_lift_the_probes_are_in_the_air():
    """Infinite ohms; and one integration over the lift is partly open."""
    probes, touch = touched(ContactHabit(bounces=0))
    probes.lift(2.0)
    assert math.isinf(probes.ohm(-0.1, four_wire=False))
    assert math.isinf(probes.ohm(2.1, four_wire=False))
    assert probes.held is None
    assert touch.end_s == 2.0
    _, open_share = probes.integrate(1.9, 2.1, four_wire=False)
    assert 0.2 < open_share < 0.8


def test_without_a_unit_a_touch_reads_open_and_the_tips_together_do_not():
    """Nothing lies on the bench."""
    probes, _ = touched(ContactHabit(bounces=0))
    probes.place(None)
    assert math.isinf(probes.ohm(1.0, four_wire=False))
    probes.touch(new_touch(random.Random(1), ContactHabit(bounces=0), None, 2.0))
    assert 0.12 < probes.ohm(9.0, four_wire=False) < 0.2


def test_the_air_stays_between_21_and_24_degrees():
    """Whatever the seed and the hour."""
    for seed in range(100):
        ambient = Ambient(random.Random(seed))
        assert all(21.0 < ambient.celsius(t * 60.0) < 24.2 for t in range(300))
