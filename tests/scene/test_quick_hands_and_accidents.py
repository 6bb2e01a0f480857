"""Quick hands on cheap meters, and what happens at a bench: no good unit fails, no bad one passes.

The units have the trade's own sizes: lighting of half an ohm, 20.6 and 441 ohm with a pin in common and their
sum (common practice, no source). Every accident befalls every touch of a step once, or once a unit. Where the
dial stands wrong is tried for an open step too in tests/unit/test_steps_dial.py.
"""

from __future__ import annotations

import math

import pytest

from acquire.choices import FAILING, PASSING
from acquire.records import Ask, ConfirmOpen, Judged, UnitResult
from tests.benchmarks.hand_meter import FAULTS, METERS, Shift

LIFT_S = 0.4
DIALS = ("polled 2000", "streaming 2000")
PLACES = ("leads", ("4", "5"), ("1", "2"), ("2", "3"), ("1", "3"))
SOME = ("trigger, bad joint", "charge, turns shorted")


class Unlucky(Shift):
    """Hands to which something happens at each step, once."""

    def __init__(self, meter, accident):
        super().__init__(METERS[meter], LIFT_S, 3)
        self.true, self.happens, self.befallen = {}, accident, set()
        self.pass_time(1.0)

    def unit(self, serial, fault=""):
        self.befallen.clear()
        return super().unit(serial, fault)

    def pass_time(self, seconds, until=None):
        """While the probes are held, the accident comes first."""
        if until is not None and self.on not in self.befallen:
            self.befallen.add(self.on)
            told = len(self.events)
            self.happens(self)
            if any(until(event) for event in self.events[told:]):
                return True
        return super().pass_time(seconds, until)

    def tick(self):
        self.take(self.heart.tick(self.now_s, self.now_s))


def slip(hands):
    """0.3 s after 0.6 s on the pair, a probe loses it for 0.3 s."""
    lies, _ = hands.lies, hands.pass_time(0.6)
    hands.lies = math.inf
    hands.pass_time(0.3)
    hands.lies = lies


def key(hands):
    """Enter is pressed again and again with the probes on the pair."""
    for _ in range(3):
        hands.pass_time(0.4)
        hands.take(hands.heart.command(ConfirmOpen(), hands.now_s, hands.now_s))


def off(hands):
    """The meter goes off for four seconds, held where it was."""
    hands.pass_time(0.4)
    for _ in range(8):
        hands.now_s += 0.5
        hands.next_s = hands.poll_at_s = hands.now_s + 0.5
        hands.tick()


def swapped(hands):
    """The unit is taken for another of its kind, half of its charge winding shorted, and nothing scanned."""
    if hands.on == ("2", "3"):
        low, light = hands.true["1", "2"], hands.true["4", "5"]
        hands.true = {("1", "2"): low, ("2", "3"): 220.0, ("1", "3"): low + 220.0, ("4", "5"): light}
        hands.lies = 220.2


def failed_by(hands, serial, fault=""):
    """Outcome of one unit, and the pairs that failed."""
    before = len(hands.events)
    outcome = hands.unit(serial, fault).outcome
    verdicts = [e.verdict for e in hands.events[before:] if isinstance(e, Judged)]
    return outcome, {(v.pin_a, v.pin_b) for v in verdicts if v.counts and v.outcome in FAILING}


@pytest.mark.parametrize(
    ("accident", "meter"),
    [
        pytest.param(accident, meter, marks=() if accident is slip or meter in DIALS else pytest.mark.long)
        for accident in (slip, key, off)
        for meter in METERS
    ],
)
def test_an_accident_at_every_touch_costs_no_verdict(meter, accident):
    """A good unit passes, a bad one does not; no value is booked for a pair it was not read on."""
    hands = Unlucky(meter, accident)
    assert failed_by(hands, "A1")[0] in PASSING
    for fault in SOME:
        outcome, pairs = failed_by(hands, fault, fault)
        assert outcome in FAILING
        assert ("4", "5") not in pairs
    assert hands.tally.wrong == 0


@pytest.mark.long
@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("accident", [slip, key, off], ids=lambda each: each.__name__)
@pytest.mark.parametrize("meter", METERS)
def test_no_accident_passes_any_fault(meter, accident, fault):
    """Each fault by itself, in the hands that have just passed a good unit."""
    hands = Unlucky(meter, accident)
    assert failed_by(hands, "A1")[0] in PASSING
    assert failed_by(hands, "B1", fault)[0] not in PASSING


class WrongDial(Shift):
    """Hands that turn the dial to one range whenever one thing is asked for, before they read the prompt."""

    def __init__(self, meter, place, number):
        super().__init__(METERS[meter], LIFT_S, 6)
        self.true, self.place, self.number_of_range, self.turned = {}, place, number, set()
        self.pass_time(1.0)

    def _obey(self):
        asked = "leads" if self.prompt.ask is Ask.SHORT_PROBES else tuple(self.prompt.pair)
        units = sum(isinstance(event, UnitResult) for event in self.events)
        if asked == self.place and (asked, units) not in self.turned:
            self.turned.add((asked, units))
            self.range = self.ranges[self.number_of_range]
            self.pass_time(1.0)
        super()._obey()


@pytest.mark.parametrize("place", PLACES, ids="".join)
@pytest.mark.parametrize("number", [3])
def test_a_dial_on_the_wrong_range_costs_quick_hands_no_verdict(place, number):
    """At the lead zero and at each winding; the bad units fail where they are bad, and nowhere else."""
    hands = WrongDial("streaming 2000", place, number)
    assert failed_by(hands, "A1")[0] in PASSING
    outcome, pairs = failed_by(hands, "B1", "trigger, bad joint")
    assert outcome in FAILING
    assert pairs == {("1", "2")}
    assert hands.tally.wrong == 0


@pytest.mark.long
@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("place", PLACES, ids="".join)
@pytest.mark.parametrize("number", range(6))
@pytest.mark.parametrize("meter", DIALS)
def test_no_dial_position_passes_a_bad_unit_of_quick_hands(meter, number, place, fault):
    """Every range of the meter, at every place, for every fault."""
    hands = WrongDial(meter, place, number)
    assert failed_by(hands, "A1")[0] in PASSING
    assert failed_by(hands, "B1", fault)[0] not in PASSING


@pytest.mark.parametrize("meter", METERS)
def test_a_unit_taken_for_another_without_a_scan_does_not_pass(meter):
    """What is left of the steps is read on the other one, and that is a bad one."""
    outcome, pairs = failed_by(Unlucky(meter, swapped), "A1")
    assert outcome in FAILING
    assert pairs <= {("2", "3"), ("1", "3")}
