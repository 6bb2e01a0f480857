"""The rule of contact: no value counts for another purpose until open probes were seen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from acquire.heart.contact import LINGER_S, Admission, ContactRule
from acquire.records import Judged, LeadZero, Outcome, StartUnit
from drivers.reading import Flag, Kind, Quantity, Reading
from tests.benchmarks.hand_meter import METERS, work
from tests.known_sheets import corrected
from tests.pure_bench import GOOD, Bench

OHMS, FOUR_WIRE = Quantity.RESISTANCE, Quantity.RESISTANCE_4W
FIRST, NEXT, LEADS = ("A1", "slow charge"), ("A1", "fast charge"), ("leads",)


def shown(at_s, kind=Kind.OVERLOAD, quantity=OHMS, full_ohm=None, flags=frozenset()):
    """What the meter shows."""
    value = 200.0 if kind is Kind.VALUE else None
    return Reading(
        meter_id="meter",
        quantity=quantity,
        kind=kind,
        value_si=value,
        monotonic_s=at_s,
        utc_s=at_s,
        conversion=1,
        range_full_scale_si=full_ohm,
        flags=flags,
        raw=b"",
    )


def settled(ohm=200.0, contact_s=0.0, **more):
    return replace(corrected(ohm).settled, contact_s=contact_s, monotonic_s=contact_s + 1.0, **more)


def lying(purpose=FIRST, **more):
    """Probes that lie on a pair whose value was taken."""
    rule = ContactRule(0.2)
    rule.see(shown(0.0))
    rule.see(shown(0.3))
    rule.begun(OHMS)
    rule.take(settled(**more), purpose)
    return rule


def test_nothing_counts_before_open_probes_were_seen():
    """After a restart nobody knows how long they have lain there; a moment of overload is no lift-off."""
    rule = ContactRule(0.2)
    rule.taken_before()
    assert rule.admits(settled(), FIRST) is Admission.UNLIFTED
    for at_s in (1.0, 1.1):
        rule.see(shown(at_s))
    assert rule.admits(settled(), FIRST) is Admission.UNLIFTED
    rule.see(shown(1.21))
    assert rule.admits(settled(), FIRST) is Admission.NEW


@pytest.mark.parametrize(
    ("ohm", "more", "admission"),
    [
        (200.005, {}, Admission.KNOWN),
        (201.0, {}, Admission.REVISED),
        (203.0, {}, Admission.MOVED),
        (46.0, {}, Admission.UNLIFTED),
        (200.0, {"contact_s": 5.0}, Admission.UNLIFTED),
        (200.0, {"quantity": FOUR_WIRE}, Admission.SET_UP),
        (46.0, {"range_full_scale_si": 100.0}, Admission.SET_UP),
    ],
)
def test_the_same_touch_can_only_be_corrected(ohm, more, admission):
    """What slides far may be on other pins; another contact without open probes between is no new touch."""
    told = settled(**({"ohm": ohm} | more))
    assert lying(expanded_si=0.01).admits(replace(told, expanded_si=0.01), FIRST) is admission


@pytest.mark.parametrize("purpose", [NEXT, ("A2", "slow charge"), LEADS])
def test_no_value_of_the_same_touch_is_for_another_purpose(purpose):
    """Another pair, another unit, a duty; whatever it reads and however the meter is set."""
    rule = lying()
    for told in (settled(), settled(46.0), settled(quantity=FOUR_WIRE), settled(contact_s=9.0)):
        assert rule.admits(told, purpose) is Admission.UNLIFTED


def gone(rule):
    """The link is lost, and back."""
    rule.forget()


def silent(rule):
    """The meter shows nothing for so long that the contact ends."""
    rule.ended(None)


def set_anew(rule):
    """Its function is changed; it shows overload while it looks for a range."""
    rule.ended(shown(2.0, quantity=FOUR_WIRE))


@pytest.mark.parametrize("accident", [gone, silent, set_anew])
def test_no_accident_to_the_meter_shows_that_the_probes_have_left(accident):
    """The same touch goes on, though the filter sees a new contact."""
    rule = lying()
    accident(rule)
    rule.begun(OHMS)
    assert rule.admits(settled(contact_s=5.0), NEXT) is Admission.UNLIFTED
    rule.ended(shown(6.0))
    assert rule.admits(settled(contact_s=7.0), NEXT) is Admission.NEW


def test_probes_that_hop_from_pin_to_pin_have_left():
    """The filter ends one contact and begins the next with the first value after an overload."""
    rule = lying()
    rule.ended(shown(2.0, Kind.VALUE))
    rule.begun(OHMS)
    assert rule.admits(settled(46.0, 2.0), NEXT) is Admission.NEW


def test_one_lift_off_serves_one_touch():
    """What was taken uses it up."""
    rule = lying()
    rule.ended(shown(2.0))
    rule.begun(OHMS)
    rule.take(settled(46.0, 3.0), NEXT)
    assert rule.admits(settled(46.0, 3.0), ("A1", "both")) is Admission.UNLIFTED


@pytest.mark.parametrize("flags", [frozenset(), frozenset({Flag.HOLD})])
def test_a_held_display_shows_nothing(flags):
    """HOLD may have been pressed in the air."""
    rule = lying()
    rule.ended(None)
    for at_s in (5.0, 6.0):
        rule.see(shown(at_s, flags=flags))
    assert (rule.admits(settled(contact_s=7.0), NEXT) is Admission.NEW) is not flags


def test_overload_of_a_range_that_ends_below_what_lay_there_is_no_lift_off():
    """200 ohm on the 100 ohm range; but a value far below shows then that the probes did leave."""
    for ohm, admission in ((46.0, Admission.NEW), (199.0, Admission.UNLIFTED)):
        rule = lying()
        rule.ended(shown(2.0, full_ohm=100.0))
        rule.begun(OHMS)
        assert rule.admits(settled(ohm, 3.0), NEXT) is admission


def test_overload_of_the_range_that_showed_the_value_is_a_lift_off():
    """Many meters show values up to a fifth beyond the full scale of their range."""
    rule = lying(ohm=110.0, range_full_scale_si=100.0)
    rule.ended(shown(2.0, full_ohm=100.0))
    assert rule.admits(settled(110.0, 3.0), NEXT) is Admission.NEW


def test_relays_that_open_and_units_that_leave():
    """The one is a lift-off, the other spends the touch that goes on."""
    rule = lying()
    rule.cleared()
    assert rule.admits(settled(), NEXT) is Admission.NEW
    rule = lying()
    rule.spend()
    assert rule.admits(settled(), FIRST) is Admission.UNLIFTED


def test_the_operator_is_told_once_and_not_while_hands_linger():
    """Only while the probes still lie there, and some seconds after the value that was taken."""
    rule = lying()
    assert not rule.overdue(100.0)
    rule.admits(settled(), NEXT)
    assert not rule.overdue(1.0 + LINGER_S - 0.1)
    assert [rule.overdue(1.0 + LINGER_S), rule.overdue(60.0)] == [True, False]
    rule = lying()
    rule.admits(settled(), NEXT)
    rule.ended(shown(2.0))
    assert not rule.overdue(60.0)


def test_hands_that_lifted_too_briefly_are_told_at_once():
    """They wait for what never comes; an overload that is only the beginning of a lift tells nothing."""
    rule = lying()
    rule.see(shown(1.1))
    rule.admits(settled(), NEXT)
    assert rule.overdue(2.1)
    rule = lying()
    rule.admits(settled(), NEXT)
    rule.see(shown(1.1))
    assert not rule.overdue(2.1)


@pytest.mark.parametrize("ohm", [200.0, 200.6])
def test_so_are_hands_that_were_to_touch_the_same_pair_anew(ohm):
    """A failed value asks for another touch; what comes after so short a lift is the first one still."""
    rule = lying()
    rule.see(shown(1.1))
    again = settled(ohm)
    if rule.admits(again, FIRST) is not Admission.KNOWN:
        rule.take(again, FIRST)
    assert [rule.overdue(2.1), rule.overdue(3.1)] == [True, False]


def test_a_touch_before_anybody_knows_of_the_value_at_the_lift_is_not_the_next_pair_s():
    """Nothing was said while the probes lay: they touch the same pair once more."""
    rule = lying(in_doubt=True)
    rule.cleared()
    soon, later = 1.5, 3.0  # the value was told at 1.0
    assert rule.admits(settled(200.5, contact_s=soon), NEXT) is Admission.UNLIFTED
    assert rule.admits(settled(200.5, contact_s=soon), FIRST) is Admission.NEW
    assert rule.admits(settled(46.0, contact_s=soon), NEXT) is Admission.NEW  # plainly another pair
    assert rule.admits(settled(200.5, contact_s=later), NEXT) is Admission.NEW
    rule.begun(OHMS)
    assert rule.overdue(2.6)


def unseen(ohm, every_s=0.4, begun_s=2.0):
    """A value at rest of what seems to be the same touch, whose stretch began then."""
    return settled(ohm, trace=tuple((begun_s + every_s * k, ohm) for k in range(4)), expanded_si=1.0)


@pytest.mark.parametrize(
    ("ohm", "every_s", "begun_s", "expected", "whose"),
    [
        (20.6, 0.4, 2.0, True, (NEXT, Admission.NEW)),
        (208.0, 0.4, 2.0, True, (NEXT, Admission.NEW)),
        (208.0, 0.15, 2.0, True, (NEXT, Admission.NEW)),  # a lift of 0.2 s need not hold a conversion of 0.15
        (20.6, 0.4, 2.0, False, (NEXT, Admission.UNLIFTED)),  # not what the next pair reads
        (20.6, 0.4, 1.0, True, (NEXT, Admission.UNLIFTED)),  # began before it was asked for
        (20.6, 0.05, 2.0, True, (NEXT, Admission.UNLIFTED)),  # a meter that would have shown the lift
        (201.5, 0.4, 2.0, True, (NEXT, Admission.UNLIFTED)),  # may be either pair's, so it is neither's
        (201.5, 0.4, 2.0, False, (FIRST, Admission.REVISED)),
    ],
)
def test_a_lift_that_a_slow_meter_cannot_show_is_known_by_value_time_and_request(
    ohm, every_s, begun_s, expected, whose
):
    """All three, or nothing is booked."""
    rule = lying(expanded_si=0.1)
    value = replace(unseen(ohm, every_s, begun_s), expanded_si=0.1)
    assert rule.unlifted(value, NEXT, 1.5, lambda _: expected) == whose


def test_no_value_goes_on_to_another_unit_without_open_probes():
    """However well it fits."""
    other = ("A2", "slow charge")
    assert lying().unlifted(unseen(20.6), other, 1.5, lambda _: True) == (other, Admission.UNLIFTED)


@pytest.mark.parametrize("name", METERS)
def test_quick_hands_on_a_slow_meter_cost_no_touch_and_no_verdict(name):
    """Short form of `tests.benchmarks.hand_meter`: lifts 0.4 s after the verdict, good units and bad ones.

    A value in doubt when so quick a hand left may leave a unit's temperature open: asked, not failed.
    """
    tally = work(METERS[name], 0.4, 4, bad=3)
    assert (tally.failed, tally.wrong, tally.passed) == (0, 0, 0)
    assert tally.unjudged <= 1
    assert tally.per_step <= 1.15


@pytest.mark.parametrize("name", METERS)
def test_a_value_that_could_be_of_the_pair_before_is_booked_for_none(name):
    """Three windings of 20.6 ohm, hands that lift 0.4 s after the verdict: asked again, never misplaced."""
    tally = work(METERS[name], 0.4, units=3, alike=True)
    assert (tally.wrong, tally.failed, tally.unjudged) == (0, 0, 0)
    assert tally.per_step < 2.0


def test_a_correction_is_of_the_touch_before_only_while_no_overload_was_seen():
    """A moment of overload, too short for a lift: hands may have gone on, so the value is of neither."""
    for overload, belongs in ((False, (FIRST, Admission.REVISED)), (True, (NEXT, Admission.UNLIFTED))):
        rule = lying(expanded_si=0.01)
        if overload:
            rule.see(shown(1.1))
        value = settled(201.0, expanded_si=0.01)
        assert rule.unlifted(value, NEXT, 0.5, lambda _: True) == belongs


@pytest.mark.parametrize(("wide", "outcome"), [(0.05, Outcome.PASS), (40.0, Outcome.CANNOT_JUDGE)])
def test_a_contact_that_stayed_in_doubt_passes_only_where_its_width_allows_it(wide, outcome):
    """Told at lift-off, with the width of contacts that turn out wrong."""
    bench = Bench()
    bench.begin()
    bench.pipeline.settling._doubt = lambda _: (0.03, 0.01, wide)

    (judged,) = [e for e in bench.hold(GOOD[tuple(bench.prompt.pair)], 4.0) if isinstance(e, Judged)]

    assert judged.evidence.in_doubt
    assert judged.verdict.outcome is outcome


def test_leads_are_not_zeroed_by_a_contact_that_stayed_in_doubt():
    bench = Bench()
    bench.pipeline.settling._doubt = lambda _: (0.03, 0.01, 0.05)
    bench.command(StartUnit("A1"))

    assert not any(isinstance(e, LeadZero) for e in bench.hold(0.0, 4.0))
