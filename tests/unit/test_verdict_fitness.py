"""Can this meter judge this step at all, and what would help where it cannot?"""

from dataclasses import asdict, replace
from pathlib import Path

import pytest

from acquire.records import Limits
from acquire.verdict.fitness import BenchUncertainty, Offer, Remedy, foresee, offers_of, reference_of, row
from acquire.words.verdicts import range_in_words, remedy
from drivers.accuracy import RangeAccuracy
from drivers.models import load_model
from drivers.reading import Quantity

METERS = Path(__file__).parents[2] / "configs" / "meters"


def within(nominal, fraction):
    return Limits(nominal * (1 - fraction), nominal * (1 + fraction))


def table(meter, nominal, limits, bench, wires=2):
    offers = offers_of(load_model(METERS / f"{meter}.toml"))
    wanted = (o for o in offers if o.largest_ohm >= nominal and o.four_wire == (wires == 4))
    in_use = next(wanted)
    return row("step", nominal, limits, bench, [in_use, *(o for o in offers if o is not in_use)])


def told(found):
    """What would help, in words."""
    return remedy(**asdict(found.would_help))


def test_a_hand_meter_can_judge_a_winding_of_200_ohm():
    got = table("hand-2000", 202.57, within(202.57, 0.06), BenchUncertainty())
    assert got.can_judge
    assert got.ratio > 2.0
    assert got.dominating == "meter accuracy"
    assert got.would_help is None


def test_a_hand_meter_cannot_judge_a_winding_of_half_an_ohm_and_nothing_helps():
    got = table("hand-2000", 0.44, within(0.44, 0.04), BenchUncertainty())
    assert not got.can_judge
    assert got.ratio < 0.1
    assert got.would_help is None


def test_four_wires_help_a_bench_meter():
    got = table("bench-50000", 0.44, within(0.44, 0.04), BenchUncertainty())
    assert not got.can_judge
    assert told(got) == "the 50 Ω range, 4-wire"
    assert table("bench-50000", 0.44, within(0.44, 0.04), BenchUncertainty(), wires=4).can_judge


def test_leads_never_zeroed_are_named_and_zeroing_helps():
    got = table("bench-6-digit", 1.6475, within(1.6475, 0.04), BenchUncertainty(zero_u_ohm=None))
    assert got.dominating == "lead zero missing"
    assert told(got) == "zeroed leads"
    assert table("bench-6-digit", 1.6475, within(1.6475, 0.04), BenchUncertainty()).can_judge


def test_a_thermometer_helps_where_temperature_dominates():
    got = table("bench-6-digit", 202.57, within(202.57, 0.004), BenchUncertainty(winding_u_kelvin=1.5))
    assert got.dominating == "winding temperature"
    assert told(got) == "a thermometer at the unit"


def test_a_better_range_helps():
    coarse = Offer(RangeAccuracy(0.008, 1.0, counts=3, range_full_scale_si=2000.0), 2000.0, four_wire=False)
    fine = Offer(RangeAccuracy(0.008, 0.1, counts=5, range_full_scale_si=200.0), 200.0, four_wire=False)
    small = Offer(RangeAccuracy(0.001, 0.01, counts=5, range_full_scale_si=20.0), 20.0, four_wire=False)
    got = row("step", 46.17, within(46.17, 0.05), BenchUncertainty(), [coarse, small, fine])
    assert got.would_help == Remedy(range_full_scale_ohm=200.0)


def test_a_pair_of_changes_is_found_where_one_is_not_enough():
    offer = Offer(RangeAccuracy(0.0002, 0.001, counts=1, range_full_scale_si=50.0), 50.0, four_wire=False)
    bench = BenchUncertainty(zero_u_ohm=0.05, winding_u_kelvin=3.0)
    got = row("step", 10.0, within(10.0, 0.006), bench, [offer])
    assert told(got) == "zeroed leads and a thermometer at the unit"


def test_a_range_and_a_thermometer_are_proposed_together():
    """Neither is enough alone: 0.8 % of the coarse range, 1.2 % of 3 K."""
    coarse = Offer(RangeAccuracy(0.008, 1.0, counts=3, range_full_scale_si=2000.0), 2000.0, four_wire=True)
    fine = Offer(RangeAccuracy(0.001, 0.001, counts=1, range_full_scale_si=200.0), 200.0, four_wire=True)
    got = row("step", 46.17, within(46.17, 0.006), BenchUncertainty(winding_u_kelvin=3.0), [coarse, fine])
    assert told(got) == "the 200 Ω range, 4-wire, with a thermometer at the unit"


@pytest.mark.parametrize("zero_u_ohm", [0.05, None])
def test_leads_cancel_between_a_value_and_its_reference(zero_u_ohm):
    """Both are read through the same leads in the same hour, whatever is known of these."""
    bench, offer = (
        BenchUncertainty(zero_u_ohm=zero_u_ohm),
        Offer(RangeAccuracy(1e-3, 1e-3, range_full_scale_si=20.0), 20.0, four_wire=False),
    )
    beside = replace(bench, references=(reference_of("R10", 10.0, 1e-3, bench, offer),))
    names = {term.name for term in foresee(10.0, beside, offer).terms}
    assert "reference" in names
    assert not any(name.startswith("lead zero") for name in names)


def test_a_range_and_zeroed_leads_are_proposed_together():
    """Neither is enough alone: 1 ohm of the coarse range, leads of which nobody knows 0.2 ohm."""
    coarse = Offer(RangeAccuracy(0.001, 1.0, counts=3, range_full_scale_si=2000.0), 2000.0, four_wire=False)
    fine = Offer(RangeAccuracy(0.001, 0.001, counts=1, range_full_scale_si=20.0), 20.0, four_wire=False)
    bench = BenchUncertainty(zero_u_ohm=None, winding_u_kelvin=0.2)
    got = row("step", 10.0, within(10.0, 0.01), bench, [coarse, fine])
    assert told(got) == "the 20 Ω range with zeroed leads"


def test_a_bench_that_says_nothing_knows_a_winding_to_one_kelvin():
    """One part in 254.5 of copper (IEC 60034-1), told at 20 °C."""
    offer = Offer(RangeAccuracy(1e-6, 1e-6, range_full_scale_si=1000.0), 1000.0, four_wire=True)
    found = foresee(254.5, BenchUncertainty(), offer)
    assert found.part_ohm(frozenset({"winding temperature"})) == pytest.approx(1.0, rel=0.02)


def test_a_strap_is_set_against_its_whole_upper_limit():
    got = table("bench-6-digit", 0.0133, Limits(None, 0.05), BenchUncertainty(), wires=4)
    assert got.tolerance_ohm == 0.05
    assert got.can_judge


def test_what_is_foreseen_is_what_a_real_reading_would_get():
    offer = offers_of(load_model(METERS / "hand-2000.toml"))[1]
    bench = BenchUncertainty(celsius=30.0)
    got = foresee(200.0, bench, offer)
    assert got.reference_ohm == pytest.approx(200.0)
    assert got.raw_ohm == pytest.approx(200.0 * 264.5 / 254.5 + 0.2)
    repeated = {term.name: term.standard_uncertainty_ohm for term in got.terms}["repeatability"]
    assert repeated == pytest.approx(offer.noise_ohm / 8**0.5 * 254.5 / 264.5)
    assert foresee(200.0, replace(bench, readings=64), offer).expanded_ohm < got.expanded_ohm


def test_ranges_are_called_what_people_call_them():
    offers = offers_of(load_model(METERS / "bench-50000.toml"))
    labels = [range_in_words(o.accuracy.range_full_scale_si, four_wire=o.four_wire) for o in offers]
    assert labels[:4] == ["500 Ω range", "5 kΩ range", "50 kΩ range", "500 kΩ range"]
    assert "50 Ω range, 4-wire" in labels
    assert range_in_words(0.5, four_wire=False) == "0.5 Ω range"


def test_a_range_too_small_for_the_value_cannot_judge_it():
    small = Offer(RangeAccuracy(0.001, 0.01, counts=5, range_full_scale_si=20.0), 20.0, four_wire=False)
    large = Offer(RangeAccuracy(0.001, 0.1, counts=2, range_full_scale_si=200.0), 200.0, four_wire=False)
    got = row("step", 46.17, within(46.17, 0.05), BenchUncertainty(), [small, large])
    assert not got.can_judge
    assert told(got) == "the 200 Ω range"


def test_a_reference_is_counted_and_a_missing_one_is_named():
    """450 ohm to 1 % on a 2000-count meter: a resistor of 0.1 % near it is what would help."""
    hand = [offer for offer in offers_of(load_model(METERS / "hand-2000.toml")) if offer.largest_ohm >= 450.0]
    limits = Limits(445.5, 454.5)
    good = BenchUncertainty(winding_u_kelvin=0.2)
    alone = row("charge", 450.0, limits, good, hand)
    assert not alone.can_judge
    assert told(alone) == "a known resistor of about 450 Ω, 0.1 %, as [[reference]]"
    beside = replace(good, references=(reference_of("R470", 470.0, 0.235, good, hand[0]),))
    got = row("charge", 450.0, limits, beside, hand)
    assert got.can_judge
    assert got.expanded_ohm <= 1.5
    assert "meter accuracy" not in [term.name for term in got.terms]


def test_a_reference_is_of_the_function_that_reads_it():
    """Two wires share nothing with four."""
    offers = offers_of(load_model(METERS / "bench-50000.toml"))
    assert {offer.four_wire for offer in offers} == {True, False}
    for offer in offers:
        found = reference_of("R", 100.0, 0.05, BenchUncertainty(), offer)
        assert (found.quantity is Quantity.RESISTANCE_4W) is offer.four_wire
