"""What a winding should read, how honest a tolerance is, and turns from ohms."""

import pytest

from acquire.errors import InputImpossible
from acquire.physics.winding import (
    Design,
    expect,
    from_mass_and_ohm,
    mass_g,
    turns_from_ohm,
    wire_of_awg,
    wire_of_diameter,
    wire_of_spool,
)
from acquire.physics.wire import METALS, measure_spool, ohm_per_m

SLOW = Design(turns=2400, mean_turn_m=0.062)


def test_an_invented_ignition_winding_comes_out_at_its_design_value():
    """2400 turns of AWG 36, mean turn 62 mm: 148.8 m and 202.5 ohm by the wire table."""
    whole = expect(SLOW, wire_of_awg(36))
    assert whole.length_m == pytest.approx(148.8)
    assert whole.reference_ohm == pytest.approx(202.5, rel=1e-3)
    assert whole.mass_g == pytest.approx(16.8, abs=0.1)


def test_wire_between_coils_counts_and_strands_divide():
    design = Design(turns=152, mean_turn_m=0.086, extra_m=0.18)
    one = expect(design, wire_of_awg(20))
    assert one.reference_ohm == pytest.approx(13.252 * 10.15e-3 / 0.3048, rel=1e-3)  # AWG table: 10.15
    two = expect(Design(turns=152, mean_turn_m=0.086, extra_m=0.18, strands=2), wire_of_awg(20))
    assert two.reference_ohm == pytest.approx(one.reference_ohm / 2)
    assert two.mass_g == pytest.approx(2 * one.mass_g)


def test_a_warmer_reference_reads_more():
    assert expect(SLOW, wire_of_awg(36), reference_celsius=25.0).reference_ohm == pytest.approx(
        expect(SLOW, wire_of_awg(36)).reference_ohm * 259.5 / 254.5
    )


def test_the_honest_tolerance_is_ruled_by_the_wire_as_bought():
    fine, thick = expect(SLOW, wire_of_diameter(0.08)), expect(SLOW, wire_of_diameter(0.5))
    assert fine.terms[0].name == "wire as bought"
    assert 0.07 < fine.tolerance < 0.10
    assert 0.02 < thick.tolerance < 0.04


def test_measuring_the_spool_narrows_every_winding_to_about_two_percent():
    for diameter_mm in (0.08, 0.127, 0.5):
        sample_ohm = ohm_per_m(diameter_mm) * 10.0
        card = measure_spool("A", sample_ohm, 10.0, 20.0, u_ohm=0.001 * sample_ohm)
        narrowed = expect(SLOW, wire_of_spool(card))
        assert narrowed.tolerance < 0.02
        assert narrowed.tolerance < 0.9 * expect(SLOW, wire_of_diameter(diameter_mm)).tolerance


def test_turns_come_back_from_ohms():
    wire = wire_of_awg(36)
    design = Design(turns=2400, mean_turn_m=0.062, extra_m=3.0)
    turns, expanded = turns_from_ohm(expect(design, wire).reference_ohm, design, wire)
    assert turns == pytest.approx(2400)
    assert 0.03 < expanded / turns < 0.08


def test_ohms_so_far_are_turns_so_far():
    wire = wire_of_awg(36)
    half = expect(SLOW, wire).reference_ohm / 2
    assert turns_from_ohm(half, SLOW, wire)[0] == pytest.approx(1200)


def test_weighing_and_measuring_gives_length_and_diameter_without_a_micrometer():
    """202.5 ohm and 16.8 g of bare copper: 149 m of 0.127 mm, common practice."""
    length_m, diameter_mm = from_mass_and_ohm(16.8, 202.5)
    assert length_m == pytest.approx(149, abs=0.5)
    assert diameter_mm == pytest.approx(0.1271, abs=2e-4)
    assert mass_g(length_m, diameter_mm) == pytest.approx(16.8)
    assert ohm_per_m(diameter_mm, METALS["copper"]) * length_m == pytest.approx(202.5)


def test_counting_errors_join_the_budget():
    counted = expect(Design(turns=100, mean_turn_m=0.1, turns_u=5.0), wire_of_awg(20))
    assert counted.terms[0].name == "turns"


@pytest.mark.parametrize(
    "change",
    [
        {"turns": 0},
        {"mean_turn_m": 0.0},
        {"extra_m": -1.0},
        {"strands": 0},
        {"turns_u": -1.0},
        {"mean_turn_relative_u": -0.1},
    ],
)
def test_what_cannot_be_wound_is_refused(change):
    with pytest.raises(InputImpossible):
        Design(**{"turns": 100, "mean_turn_m": 0.1, **change})


def test_impossible_measurements_are_refused():
    with pytest.raises(InputImpossible):
        turns_from_ohm(0.0, SLOW, wire_of_awg(36))
    with pytest.raises(InputImpossible):
        from_mass_and_ohm(-1.0, 10.0)
    with pytest.raises(InputImpossible):
        expect(SLOW, wire_of_awg(36), measured_u_kelvin=-1.0)


def test_wire_to_the_ends_is_not_uncertain_by_the_mean_turn():
    """Half of the wire is turns, so half of the mean turn's uncertainty counts."""
    whole = expect(Design(turns=100, mean_turn_m=0.1, extra_m=10.0), wire_of_awg(20))
    lines = {term.name: term.standard_uncertainty_ohm / whole.reference_ohm for term in whole.terms}
    assert lines["mean turn length"] == pytest.approx(0.0075 / 2)


def test_a_kelvin_of_the_winding_is_0_39_percent():
    """Copper at 20 °C: 1 / 254.5 a kelvin (NBS Handbook 100)."""
    found = expect(SLOW, wire_of_awg(36), measured_u_kelvin=2.0)
    (term,) = [term for term in found.terms if term.name == "winding temperature"]
    assert term.standard_uncertainty_ohm == pytest.approx(2.0 / 254.5 * found.reference_ohm)
