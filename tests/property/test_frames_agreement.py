"""Laws of the agreement rule."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from drivers.frame import Decoded
from drivers.handheld.options import Agreement, near
from drivers.reading import Kind, Quantity

values = st.one_of(
    st.none(), st.sampled_from([10.0, 10.1, 10.15, 101.0, 1010.0, -10.0]), st.floats(-1e6, 1e6)
)
quantities = st.sampled_from([Quantity.RESISTANCE, Quantity.VOLTAGE_DC])
frames = st.builds(
    lambda quantity, value: Decoded(
        quantity, Kind.OVERLOAD if value is None else Kind.VALUE, value, None if value is None else 0.1
    ),
    quantities,
    values,
)


def reading(one, number):
    return one.as_reading("m", number, (float(number), float(number)), b"")


def readings(found):
    return [reading(one, number) for number, one in enumerate(found)]


@given(st.lists(frames, max_size=40))
def test_what_passes_has_a_neighbour_that_agrees_and_passes_once_in_order(found):
    rule = Agreement("near")
    stream = readings(found)
    passed = [frame.conversion for one in stream for frame in rule.take(one)]
    assert passed == sorted(set(passed))
    for number in passed:
        neighbours = [n for n in (number - 1, number + 1) if 0 <= n < len(found)]
        assert any(near(found[number], found[n]) for n in neighbours)


@given(st.lists(frames, max_size=40))
def test_whatever_has_an_agreeing_neighbour_passes(found):
    rule = Agreement("near")
    passed = {frame.conversion for one in readings(found) for frame in rule.take(one)}
    for number in range(len(found) - 1):
        if near(found[number], found[number + 1]):
            assert {number, number + 1} <= passed


@given(st.lists(frames, max_size=20))
def test_switched_off_it_lets_everything_pass_at_once(found):
    rule = Agreement("off")
    assert [rule.take(one) for one in readings(found)] == [[one] for one in readings(found)]


@given(frames, frames)
def test_agreeing_goes_both_ways(one, other):
    assert near(one, other) == near(other, one)
    assert near(one, one)


@given(st.lists(frames, min_size=1, max_size=20), frames)
def test_after_forgetting_nothing_from_before_passes(before, after):
    rule = Agreement("near")
    for one in readings(before):
        rule.take(one)
    rule.forget_waiting()
    late = reading(after, 1000)
    assert all(frame.conversion == 1000 for frame in rule.take(late))
