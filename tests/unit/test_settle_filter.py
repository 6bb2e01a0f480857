"""The settle filter on hand-made streams: contacts, ranges, blips, repeats, silence, rest and revision."""

from __future__ import annotations

import random

import pytest

from acquire.records.settled import Approach, Contact, LiftOff, Settled
from acquire.settle import Expectation, SettleFilter, SettleSettings
from drivers.reading import Flag, Kind, Quantity, Reading

HAND = {"range_full_scale_si": 200.0, "resolution_si": 0.1}


class Stream:
    """Hands readings to a filter at a steady rate and keeps the events."""

    def __init__(self, filter_: SettleFilter, interval_s: float = 0.4, **fields):
        self.filter, self.interval_s = filter_, interval_s
        self.fields = {**HAND, "quantity": Quantity.RESISTANCE, **fields}
        self.now_s, self.conversion, self.events = 0.0, 0, []

    def send(self, value_si, **fields):
        self.now_s += self.interval_s
        self.conversion += 1
        reading = Reading(
            **{
                "meter_id": "m1",
                "kind": Kind.OVERLOAD if value_si is None else Kind.VALUE,
                "value_si": value_si,
                "monotonic_s": self.now_s,
                "utc_s": 1e9 + self.now_s,
                "conversion": self.conversion,
                "raw": b"%d" % self.conversion,
                **self.fields,
                **fields,
            }
        )
        new = self.filter.feed(reading)
        self.events += new
        return new

    def of(self, kind):
        return [e for e in self.events if isinstance(e, kind)]


def settle(value_si, n=12, settings=None, interval_s=0.4, **fields):
    stream = Stream(SettleFilter(settings or SettleSettings(noise_counts=0.45)), interval_s, **fields)
    for v in [None, None] + [value_si] * n:
        stream.send(v)
    return stream


def test_a_steady_value_is_reported_provisionally_then_finally():
    stream = settle(47.3)

    first, second = stream.of(Settled)
    assert (first.value_si, first.final, first.revision) == (pytest.approx(47.3), False, 0)
    assert (second.value_si, second.final, second.revision) == (pytest.approx(47.3), True, 1)
    assert second.raw == b"%d" % round(second.monotonic_s / 0.4)


def test_a_contact_is_announced_once_and_before_anything_else():
    stream = settle(47.3)

    assert isinstance(stream.events[0], Contact)
    assert len(stream.of(Contact)) == 1


def test_equal_readings_still_carry_the_uncertainty_of_the_count():
    first = settle(47.3).of(Settled)[0]

    assert first.quantisation_si > 0
    assert first.expanded_si > 0.05


def test_a_creeping_value_is_not_reported():
    stream = Stream(SettleFilter(SettleSettings(noise_counts=0.45)))
    for k in range(15):
        stream.send(round(60.0 + 0.4 * k, 1))

    assert not stream.of(Settled)
    assert stream.of(Approach)[-1].settling_ratio > 1


def test_a_repeated_conversion_counts_once():
    plain, doubled = settle(47.3, n=9), Stream(SettleFilter(SettleSettings(noise_counts=0.45)))
    for v in [None, None] + [47.3] * 9:
        doubled.send(v)
        doubled.filter.feed(doubled_reading := _again(doubled, v))
        assert doubled_reading.conversion == doubled.conversion

    assert doubled.of(Settled)[0].conversions == plain.of(Settled)[0].conversions
    assert doubled.of(Settled)[0].monotonic_s == plain.of(Settled)[0].monotonic_s


def _again(stream, value_si):
    kind = Kind.OVERLOAD if value_si is None else Kind.VALUE
    return Reading(
        "m1",
        Quantity.RESISTANCE,
        kind,
        value_si,
        stream.now_s + 0.2,
        1e9,
        stream.conversion,
        **HAND,
    )


def test_lift_off_needs_a_while_of_overload():
    stream = settle(47.3)
    stream.send(None)
    assert not stream.of(LiftOff)
    stream.send(None)
    assert len(stream.of(LiftOff)) == 1


def test_one_overload_blip_does_not_end_the_contact():
    stream = settle(47.3)
    for v in (None, 47.3, 47.3, 47.3):
        stream.send(v)

    assert not stream.of(LiftOff)
    assert len(stream.of(Contact)) == 1


def test_another_value_after_a_blip_is_another_contact():
    """A slow meter sees no more of a lift than that: the next pair's value is no correction of this one's."""
    stream = settle(47.3)
    stated = len(stream.of(Settled))
    stream.send(None)
    for _ in range(12):
        stream.send(48.9)

    (lift,), (_, again) = stream.of(LiftOff), stream.of(Contact)
    later = stream.of(Settled)[stated:]
    assert lift.monotonic_s == again.monotonic_s == later[0].contact_s
    assert (later[0].revision, later[0].value_si) == (0, pytest.approx(48.9))
    assert all(at_s >= 0.0 for at_s, _ in later[0].trace)


@pytest.mark.parametrize(("then", "lifts"), [(47.3, 0), (49.6, 0), (0.4, 1), (83.1, 1)])
def test_hands_quicker_than_a_lift_off_have_moved_on_where_the_value_is_plainly_other(then, lifts):
    """A tenth of a second in the air may be a bounce too: then another film lies on the same pin."""
    stream = settle(47.3, n=40, interval_s=0.1)
    for value in (None, *[then] * 40):
        stream.send(value)
    assert len(stream.of(LiftOff)) == lifts
    assert len(stream.of(Contact)) == 1 + lifts


def test_a_silent_meter_counts_as_lift_off():
    stream = settle(47.3)

    assert stream.filter.tick(stream.now_s + 1.0, 0.0) == []
    (event,) = stream.filter.tick(stream.now_s + 5.0, 7.0)
    assert isinstance(event, LiftOff)
    assert stream.filter.tick(stream.now_s + 9.0, 0.0) == []


def test_a_slow_meter_is_not_taken_for_silent():
    stream = settle(47.3, interval_s=2.0)

    assert stream.filter.tick(stream.now_s + 7.0, 0.0) == []
    assert len(stream.filter.tick(stream.now_s + 9.0, 0.0)) == 1


def test_a_meter_on_its_way_down_through_its_ranges_has_not_lost_contact():
    stream = Stream(SettleFilter(SettleSettings(noise_counts=0.45)))
    stream.send(0.1e6, range_full_scale_si=2e6, resolution_si=1e3)
    for full_scale in (2e5, 2e4, 2e3):
        stream.send(None, range_full_scale_si=full_scale, resolution_si=full_scale / 2000)
    for _ in range(8):
        stream.send(47.3)

    assert not stream.of(LiftOff)
    assert stream.of(Settled)


def test_a_meter_on_its_way_up_through_its_ranges_has():
    stream = settle(47.3)
    for full_scale in (2e3, 2e4, 2e5):
        stream.send(None, range_full_scale_si=full_scale, resolution_si=full_scale / 2000)

    assert len(stream.of(LiftOff)) == 1


def test_another_quantity_ends_the_contact():
    stream = settle(47.3)
    stream.send(1.2, quantity=Quantity.VOLTAGE_DC, resolution_si=0.001, range_full_scale_si=2.0)

    assert [type(e) for e in stream.events[-2:]] == [LiftOff, Contact]


def test_readings_of_a_coarser_range_are_forgotten():
    stream = Stream(SettleFilter(SettleSettings(noise_counts=0.45)))
    for _ in range(4):
        stream.send(10.0, range_full_scale_si=20000.0, resolution_si=10.0)
    for _ in range(9):
        stream.send(13.7)

    assert stream.of(Settled)[-1].value_si == pytest.approx(13.7)
    assert all(abs(s.value_si - 13.7) < 0.01 for s in stream.of(Settled) if s.range_full_scale_si == 200.0)


def test_a_held_display_is_no_evidence():
    stream = Stream(SettleFilter(SettleSettings(noise_counts=0.45)))
    for _ in range(20):
        stream.send(47.3, flags=frozenset({Flag.HOLD}))

    assert not stream.events


def test_a_value_that_moves_on_is_reported_again_as_a_revision():
    stream = settle(47.3)
    for _ in range(10):
        stream.send(52.3)

    last = stream.of(Settled)[-1]
    assert last.value_si == pytest.approx(52.3)
    assert last.revision >= 2
    assert len(stream.of(Contact)) == 1


def test_shorted_probes_settle_near_zero():
    stream = settle(0.2)

    assert stream.of(Settled)[0].value_si == pytest.approx(0.2)


def test_a_slow_winding_is_looked_at_for_longer():
    plain, slow = (
        SettleFilter(SettleSettings(noise_counts=0.45)),
        SettleFilter(SettleSettings(noise_counts=0.45)),
    )
    slow.expect(Expectation(slow_winding=True))
    streams = [Stream(plain), Stream(slow)]
    for s in streams:
        for v in [None, None] + [47.3] * 20:
            s.send(v)

    assert streams[1].of(Settled)[0].monotonic_s > streams[0].of(Settled)[0].monotonic_s


def test_readings_of_another_quantity_are_ignored_when_the_step_names_one():
    stream = Stream(SettleFilter(SettleSettings()), quantity=Quantity.VOLTAGE_DC)
    stream.filter.expect(Expectation(quantity=Quantity.RESISTANCE))
    for _ in range(10):
        stream.send(1.0)

    assert not stream.events


def test_inductance_settles_too():
    stream = settle(
        0.01234, quantity=Quantity.INDUCTANCE, range_full_scale_si=0.02, resolution_si=1e-5, interval_s=0.25
    )

    assert stream.of(Settled)[0].value_si == pytest.approx(0.01234)


def test_noise_is_learnt_from_the_stream():
    dice = random.Random(3)
    stream = Stream(
        SettleFilter(SettleSettings()), interval_s=0.1, range_full_scale_si=100.0, resolution_si=1e-4
    )
    for _ in range(6):
        for v in [None] * 5 + [40 + 1e-3 * dice.gauss(0, 1) for _ in range(40)]:
            stream.send(v)

    assert 1.7e-4 < stream.of(Settled)[-1].type_a_si < 8e-4


@pytest.mark.parametrize(
    "wrong",
    [{"band_counts": 0}, {"min_conversions": 2}, {"window_s": 0.5}, {"share": 0}, {"noise_counts": -1}],
)
def test_limits_that_cannot_be_kept_are_refused_by_name(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        SettleSettings(**wrong)
