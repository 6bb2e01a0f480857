"""A bench is never silent: whatever keeps a value from becoming a verdict is said once, with its cause."""

from __future__ import annotations

import pytest

from acquire.heart.standstill import BytesUnread
from acquire.records import Code, Judged, LeadZero, Notice
from drivers.reading import Flag, Kind, Quantity
from tests.pure_bench import GOOD, Bench, shown

WATCHED = {
    Code.METER_UNREAD,
    Code.METER_UNUSABLE,
    Code.METER_UNSETTLED,
    Code.METER_SILENT,
    Code.VALUE_UNTAKEN,
}


class Watched(Bench):
    """A bench whose daemon ticks four times a second, as the real one does."""

    def tick(self, seconds=0.25):
        new = []
        for _ in range(round(seconds / 0.25)):
            self.now_s += 0.25
            new += self.pipeline.tick(self.now_s, self.now_s)
        self.events += new
        return new

    def see(self, ohm, **how):
        """One reading, and the ticks until the next."""
        return [*self.read(ohm, **how), *self.tick()]

    def unread(self, raw):
        why = "no unit: state quantity in [meter.options]"
        self.pipeline.told_of_meter(BytesUnread(raw, why, self.now_s))

    def told(self):
        return [e for e in self.of(Notice) if e.code in WATCHED]


def test_bytes_that_are_no_readings_are_shown_with_the_option_that_would_cure_them():
    """It said "hold the probes together" for ever, on 430 answers that nobody could read."""
    bench = Watched()
    bench.begin()
    for _ in range(60):
        bench.unread(b"+2.0E+02 PARSEC;\x07")
        bench.tick()
    [told] = bench.told()
    assert told.code is Code.METER_UNREAD
    assert told.facts["text"] == "+2.0E+02 PARSEC;·"
    assert told.facts["hex"] == "2b 32 2e 30 45 2b 30 32 20 50 41 52 53 45 43 3b 07"
    assert "quantity in [meter.options]" in told.facts["cause"]
    assert 4.0 < told.facts["for_s"] < 8.0
    bench.see(None)
    for _ in range(60):
        bench.unread(b"x")
        bench.tick()
    assert len(bench.told()) == 2  # it was well again in between


def test_a_garbled_line_now_and_then_is_nobodys_business():
    bench = Watched()
    bench.begin()
    for _ in range(200):
        bench.unread(b"\xff")
        bench.see(None)
    assert not bench.told()


def test_a_link_that_damages_three_lines_of_a_hundred_is_told_and_one_in_a_hundred_is_not():
    for every, lossy in ((100, False), (33, True)):
        bench = Watched()
        for place in range(1, 500):
            bench.see(None)
            if place % every == 0:
                bench.unread(b"+2.0?+02")
        told = [e for e in bench.of(Notice) if e.code is Code.METER_LOSSY]
        assert len(told) == lossy
        assert not told or 0.02 < told[0].facts["share"] < 0.04


def test_what_was_not_understood_before_the_first_reading_is_no_damage():
    """An overload without a unit is of nothing yet; later ones are of what was read last."""
    bench = Watched()
    bench.pipeline.link_lost()  # and a link that has just been opened
    for _ in range(30):
        bench.unread(b"------")
    for _ in range(300):
        bench.see(None)
    assert not [e for e in bench.of(Notice) if e.code is Code.METER_LOSSY]


@pytest.mark.parametrize(
    ("kind", "quantity", "why"),
    [
        (Kind.NO_READING, Quantity.RESISTANCE, "no_number"),
        (Kind.VALUE, Quantity.RESISTANCE_4W, "other_quantity"),
    ],
)
def test_readings_that_can_never_be_used_are_told(kind, quantity, why):
    bench = Watched()
    bench.begin()
    for _ in range(60):
        bench.now_s += 0.1
        bench.conversion += 1
        reading = shown(bench.pipeline.wanted, 46.0, bench.conversion, bench.now_s, quantity=quantity)
        if kind is Kind.NO_READING:
            reading = reading.__class__(
                "m", quantity, kind, None, bench.now_s, bench.now_s, bench.conversion, raw=b"NAN"
            )
        bench.events += bench.pipeline.feed(reading)
        bench.tick()
    [told] = bench.told()
    assert (told.code, told.facts["why"]) == (Code.METER_UNUSABLE, why)
    assert told.facts["hex"]


def test_what_a_sign_on_the_display_says_is_not_said_twice():
    """HOLD and a wrong function have notices of their own."""
    bench = Watched()
    bench.begin()
    for _ in range(60):
        bench.see(202.0, flags=frozenset({Flag.HOLD}))
    for _ in range(60):
        bench.see(5.0, quantity=Quantity.VOLTAGE_DC)
    assert not bench.told()
    assert {Code.METER_HOLD, Code.METER_FUNCTION} <= {e.code for e in bench.of(Notice)}


def test_a_driver_that_neither_reads_nor_complains_is_silent():
    bench = Watched()
    bench.begin()
    bench.tick(30.0)
    assert [e.code for e in bench.told()] == [Code.METER_SILENT]
    bench.pipeline.link_lost()  # that is told by whoever has lost it
    bench.tick(30.0)
    assert len(bench.told()) == 1


def test_a_typed_meter_is_never_silent():
    bench = Watched()
    bench.begin()
    for _ in range(60):
        bench.now_s += 1.0
        bench.conversion += 1
        reading = shown(bench.pipeline.wanted, None, bench.conversion, bench.now_s)
        typed = reading.__class__(
            "m", Quantity.RESISTANCE, Kind.NO_READING, None, bench.now_s, bench.now_s, bench.conversion,
            flags=frozenset({Flag.TYPED}),
        )  # fmt: skip
        bench.events += bench.pipeline.feed(typed)
        bench.tick()
    assert not bench.told()


@pytest.mark.parametrize(
    ("shows", "why"),
    [
        (lambda place: {"ohm": 202.57 + 0.3 * place}, "moves"),
        (lambda place: {"ohm": None if place % 3 == 0 else 202.57}, "breaks"),
        (lambda place: {"ohm": 202.57, "full_scale": 1e3 if place % 2 else 1e5}, "ranges"),
    ],
)
def test_a_value_that_never_comes_to_rest_says_why(shows, why):
    bench = Watched()
    bench.begin()
    for place in range(120):
        bench.see(**shows(place))
    [told] = bench.told()
    assert (told.code, told.facts["why"]) == (Code.METER_UNSETTLED, why)
    assert told.facts["ohm"] == pytest.approx(202.7, abs=40.0)
    assert not bench.of(Judged)


def test_the_air_after_a_touch_is_no_broken_contact():
    bench = Watched()
    bench.begin()
    for _ in range(4):
        for place in range(14):
            bench.see(202.57 + 0.3 * place)
        for _ in range(6):
            bench.see(None)
    [told] = bench.told()
    assert (told.code, told.facts["why"]) == (Code.METER_UNSETTLED, "moves")


def test_a_steady_value_without_a_unit_is_not_passed_over_in_silence():
    bench = Watched()
    for _ in range(60):
        bench.see(46.0)
    [told] = bench.told()
    assert (told.code, told.facts["why"]) == (Code.VALUE_UNTAKEN, "no_unit")
    assert told.facts["ohm"] == pytest.approx(46.12, abs=0.01)


@pytest.mark.parametrize("away", ["silent", "lost"])
def test_a_meter_that_was_away_between_lead_zero_and_first_pair_costs_no_lift(away):
    """A good winding cannot be the short that lay there; it waited for a lift, without a word."""
    bench = Watched()
    bench.pipeline.conditions.lead_wanted = True
    bench.begin()
    assert bench.of(LeadZero)
    for _ in range(10):
        bench.see(0.0)  # still held together
    bench.tick(10.0)
    if away == "lost":
        bench.pipeline.link_lost()
    for _ in range(30):
        bench.see(202.57, full_scale=1e3)
    assert {(e.verdict.pin_a, e.verdict.pin_b) for e in bench.of(Judged)} == {("1", "2")}


def test_a_meter_that_was_away_brings_no_verdict_of_what_still_lies_there():
    """What cannot be told from the touch before waits for a lift, and that is said."""
    bench = Watched()
    bench.begin()
    bench.hold(202.57)
    for _ in range(20):
        bench.see(46.17)
    bench.tick(10.0)
    for _ in range(60):
        bench.see(46.17)
    assert {(e.verdict.pin_a, e.verdict.pin_b) for e in bench.of(Judged)} == {("1", "2"), ("2", "3")}
    assert Code.PROBES_NOT_LIFTED in {e.code for e in bench.of(Notice)}


def test_good_work_causes_none_of_it():
    bench = Watched()
    bench.begin()
    bench.work_through(GOOD)
    for _ in range(20):
        bench.see(0.0133)  # hands linger on the last pair for seven seconds
    assert not bench.told()
