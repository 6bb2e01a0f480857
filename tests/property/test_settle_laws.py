"""Laws of the settle filter that hold for any stream: it never pulls, never tires, never counts twice."""

from __future__ import annotations

import random
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from acquire.records.settled import Contact, LiftOff, Settled
from acquire.settle import Expectation, SettleFilter, SettleSettings
from acquire.settle.doubt import ask
from drivers.reading import Flag, Kind, Quantity, Reading
from tests.tries import tries

COUNT_OHM, FULL_SCALE_OHM = 0.1, 200.0


def reading(k, t, value, **fields):
    return Reading(
        **{
            "meter_id": "m",
            "quantity": Quantity.RESISTANCE,
            "kind": Kind.OVERLOAD if value is None else Kind.VALUE,
            "value_si": value,
            "monotonic_s": t,
            "utc_s": t,
            "conversion": k,
            "range_full_scale_si": FULL_SCALE_OHM,
            "resolution_si": COUNT_OHM,
            **fields,
        }
    )


def stream(ohm, seed, n=28, interval_s=0.31, drop_ohm=0.0, tau_s=1.0):
    """Open, then a decay to a noisy plateau."""
    dice = random.Random(seed)
    out = [reading(0, 0.0, None), reading(1, interval_s, None)]
    for k in range(2, n):
        t = k * interval_s
        ohms = ohm + drop_ohm * 2.718281828 ** (-(t - 2 * interval_s) / tau_s) + dice.gauss(0, 0.04)
        out.append(reading(k, t, round(ohms / COUNT_OHM) * COUNT_OHM))
    return out


def events(readings, limits=None, expectation=None):
    run = SettleFilter(limits or SettleSettings(noise_counts=0.45))
    run.expect(expectation)
    return [e for r in readings for e in run.feed(r)]


def settled(*args, **kw):
    return [e for e in events(*args, **kw) if isinstance(e, Settled)]


plateaus = st.floats(0.5, 190.0)
seeds = st.integers(0, 10_000)


@given(plateaus, seeds, st.floats(0.01, 1e6), st.floats(0.0, 30.0), st.booleans())
@tries(25)
def test_the_reported_value_does_not_depend_on_the_expectation(ohm, seed, rough_ohm, drop_ohm, slow):
    """An expectation may delay a report, nothing else.

    The bare filter, kept quiet until the same instant, reports the very same value.
    """
    readings = stream(ohm, seed, drop_ohm=drop_ohm)
    limits = SettleSettings(noise_counts=0.45, slow_horizon_s=SettleSettings().horizon_s)
    told = settled(readings, limits, Expectation(slow, Quantity.RESISTANCE, rough_ohm))
    now_s = 0.0

    def quiet(seen):
        return ask(seen) if told and now_s >= told[0].monotonic_s else (1.0, 0.0, 0.0)

    bare, found = SettleFilter(limits, quiet), []
    for r in readings:
        now_s = r.monotonic_s
        found += [e for e in bare.feed(r) if isinstance(e, Settled)]

    assert bool(told) == bool(found)
    if told:
        assert found[0] == told[0]


@given(plateaus, seeds, st.floats(1.05, 1.4))
@tries(25)
def test_a_faulty_unit_is_not_settled_towards_its_nominal(ohm, seed, ratio):
    """A winding some per cent off the expected size reads exactly as it would without any expectation."""
    readings = stream(ohm, seed)

    told = settled(readings, expectation=Expectation(rough_si=ohm * ratio))

    assert told == settled(readings)


@given(plateaus, seeds)
@tries(25)
def test_frames_sent_twice_change_nothing(ohm, seed):
    """The same conversion number is the same conversion, however often it comes."""
    readings = stream(ohm, seed)
    doubled = [copy for r in readings for copy in (r, r)]

    assert events(doubled) == events(readings)


@given(plateaus, seeds, st.floats(0.0, 1e5))
@tries(30)
def test_it_does_not_matter_when_the_day_began(ohm, seed, later_s):
    """Moving the clock moves the reports with it, and their values stay."""
    readings = stream(ohm, seed)
    moved = [reading(r.conversion, r.monotonic_s + later_s, r.value_si) for r in readings]

    first, second = settled(readings), settled(moved)

    assert len(first) == len(second)
    for a, b in zip(first, second, strict=True):
        assert abs(a.value_si - b.value_si) < 1e-6
        assert abs(a.monotonic_s + later_s - b.monotonic_s) < 1e-6


@given(plateaus, seeds)
@tries(30)
def test_a_plateau_is_found_within_its_uncertainty_and_count(ohm, seed):
    """A still winding is reported once provisionally and once finally, near the truth."""
    found = settled(stream(ohm, seed))

    assert [e.final for e in found] == [False, True]
    for e in found:
        assert abs(e.value_si - ohm) < e.expanded_si + COUNT_OHM / 2
        assert 0 < e.standard_uncertainty_si < e.expanded_si


wild = st.one_of(
    st.none(),
    st.floats(-1e9, 1e9),
    st.sampled_from([0.0, 1e-12, 47.3, 47.3, 47.3, 1e300, -1e300]),
)
kinds = st.tuples(
    wild,
    st.floats(0.0, 30.0),
    st.sampled_from([None, 1e-9, 0.1, 1e6]),
    st.sampled_from([None, 200.0, 2e6]),
    st.sampled_from(list(Quantity)),
    st.sampled_from([frozenset(), frozenset({Flag.HOLD}), frozenset({Flag.LOW_BATTERY})]),
)


@given(st.lists(kinds, max_size=50), st.booleans())
@tries(60)
def test_any_stream_is_survived_and_contacts_and_lift_offs_alternate(parts, learnt):
    """Absurd values, gaps and flags raise nothing, and what begins with a contact ends with a lift-off."""
    run = SettleFilter(SettleSettings(noise_counts=None if learnt else 1.0))
    t, seen = 0.0, []
    for k, (value, gap_s, count, full_scale, quantity, flags) in enumerate(parts):
        t += gap_s
        seen += run.tick(t, t)
        seen += run.feed(
            reading(
                k,
                t,
                value,
                resolution_si=count,
                range_full_scale_si=full_scale,
                quantity=quantity,
                flags=flags,
            )
        )
    changes = [type(e) for e in seen if isinstance(e, Contact | LiftOff)]
    assert all(a is not b for a, b in pairwise(changes))


@given(st.lists(st.floats(-50, 50), min_size=19, max_size=19))
@tries(100)
def test_the_doubt_is_a_chance_and_a_width_whatever_it_sees(seen):
    """No combination of signs drives it out of its range."""
    chance, width, far = ask(seen)

    assert 0.0 <= chance <= 1.0
    assert width > 0.0
    assert far >= 1.0
