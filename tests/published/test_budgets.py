"""Uncertainty budgets and accuracy statements against publications."""

import csv
import math
from pathlib import Path

import pytest

from acquire.physics.accuracy import half_width_si
from acquire.physics.budget import combine, effective_degrees_of_freedom, root_sum_of_squares
from acquire.physics.copper import CONDUCTORS
from acquire.physics.correct import correct
from acquire.physics.laws import student_quantile
from acquire.physics.sample import sample
from acquire.physics.substitution import Substitute
from acquire.records import Settled, Shape, Term
from drivers.accuracy import RangeAccuracy
from drivers.reading import Quantity

DATA = Path(__file__).parents[1] / "data" / "published"


def ea_s3_rows():
    with (DATA / "ea402_s3_resistor_10k.csv").open(encoding="utf-8") as file:
        return {row["quantity"]: row for row in csv.DictReader(file)}


def ea_s3_terms():
    """The published inputs as our terms, in ohms of the result; readings as the supplement prints them."""
    rows = ea_s3_rows()
    halves = {name: float(row["half_width_or_U"] or 0) for name, row in rows.items()}
    ratio = sample([1.0000104, 1.0000107, 1.0000106, 1.0000103, 1.0000105])
    whole = sum(float(rows[name]["estimate"]) for name in ("R_S", "dR_D", "dR_TS"))
    return ratio.mean, [
        Term("standard", halves["R_S"] / 2 * ratio.mean),
        Term("drift of the standard", halves["dR_D"] / math.sqrt(3) * ratio.mean, Shape.RECTANGULAR),
        Term("temperature of the standard", halves["dR_TS"] / math.sqrt(3) * ratio.mean, Shape.RECTANGULAR),
        Term("leakage and resolution", halves["r_C"] / math.sqrt(6) * whole * ratio.mean),
        Term("ratio", ratio.standard_deviation / math.sqrt(ratio.count) * whole, degrees_of_freedom=4),
        Term("temperature of the item", halves["dR_TX"] / math.sqrt(3), Shape.RECTANGULAR),
    ]


def test_ea_4_02_s3_resistor_by_substitution():
    """EA-4/02 S3: R_X = 10000.1780007665 ohm, u = 0.00832800405259 ohm, U = 17 mohm with k = 2 (the last from
    memory). Tolerance 1e-13 and 1e-9 relative. The full model's mean: (R_S + dR_D + dR_TS) r_C r - dR_TX."""
    ratio, terms = ea_s3_terms()
    assert (10000.053 + 0.020) * ratio == pytest.approx(10000.1780007665, rel=1e-13)
    whole = combine(terms)
    assert whole.standard_uncertainty == pytest.approx(0.00832800405259, rel=1e-9)
    assert round(2 * whole.standard_uncertainty, 3) == 0.017
    assert whole.expanded == pytest.approx(0.0160, abs=1e-4)  # ours: exactly 95 %, k = 1.92 and not 2


def test_ea_4_02_s3_coverage_agrees_with_simulation():
    """Second opinion for our factor: propagation of distributions (JCGM 101) with numpy, 2e5 draws,
    seeded."""
    import numpy as np

    dice = np.random.default_rng(20)
    _, terms = ea_s3_terms()
    draws = np.zeros(200_000)
    for term in terms:
        u = term.standard_uncertainty_ohm
        if term.shape is Shape.RECTANGULAR:
            draws += dice.uniform(-1, 1, draws.size) * u * math.sqrt(3)
        elif term.name == "leakage and resolution":  # triangular in the supplement
            draws += dice.triangular(-1, 0, 1, draws.size) * u * math.sqrt(6)
        else:
            draws += dice.normal(0, u, draws.size)
    assert combine(terms).expanded == pytest.approx(np.quantile(np.abs(draws), 0.95), rel=0.01)


def test_ea_4_02_s9_one_rectangle_dominates():
    """EA-4/02 S9, hand-held meter at 100 V (from memory): u = 0.030 V, k = 1.65, U = 0.05 V."""
    whole = combine(
        [
            Term("resolution", 0.05 / math.sqrt(3), Shape.RECTANGULAR),
            Term("calibrator", 0.011 / math.sqrt(3), Shape.RECTANGULAR),
            Term("certificate", 0.001),
        ]
    )
    assert round(whole.standard_uncertainty, 3) == 0.030
    assert whole.coverage_factor == pytest.approx(1.65, abs=0.05)
    assert round(whole.expanded, 2) == 0.05


H1 = [
    Term("standard", 25.0, degrees_of_freedom=18),
    Term("comparison", 9.7, degrees_of_freedom=25.6),
    Term("expansion", 2.9, degrees_of_freedom=50),
    Term("temperature", 16.6, degrees_of_freedom=2),
]


def test_gum_h1_effective_degrees_of_freedom():
    """JCGM 100:2008, H.1.6: u = 32 nm; nu = 16.7, cut to 16; t99 = 2.92, U99 = 93 nm (the last three from
    memory). 17.47 instead of 16.76 would mean that u was rounded before the division."""
    assert root_sum_of_squares(H1) == pytest.approx(31.67, abs=0.005)
    nu = effective_degrees_of_freedom(H1)
    assert 16 <= nu < 17
    assert nu == pytest.approx(16.76, abs=0.01)
    assert student_quantile(0.995, 16) == pytest.approx(2.92, abs=5e-3)
    assert round(student_quantile(0.995, 16) * 31.67) in (92, 93)


def test_gum_h1_through_the_whole_budget():
    """Our budget keeps the fraction of nu: t(0.995; 16.76) = 2.903; 92 nm for 99 % against 93 nm printed."""
    whole = combine(H1, coverage=0.99)
    assert whole.coverage_factor == pytest.approx(2.903, abs=5e-3)
    assert whole.expanded == pytest.approx(93.0, abs=1.5)


def test_gum_h1_nested_comparison():
    """JCGM 100:2008, H.1: 5.8 with 24, 3.9 with 5, 6.7 with 8 degrees of freedom give 9.7 nm with 25.6."""
    nested = [
        Term("repeated", 5.8, degrees_of_freedom=24),
        Term("random", 3.9, degrees_of_freedom=5),
        Term("systematic", 6.7, degrees_of_freedom=8),
    ]
    assert root_sum_of_squares(nested) == pytest.approx(9.7, abs=0.05)
    nu = effective_degrees_of_freedom(nested)
    assert nu == pytest.approx(25.45, abs=0.01)
    # The printed 25.6 puts the rounded 9.7 into the numerator.
    assert nu * (9.7 / root_sum_of_squares(nested)) ** 4 == pytest.approx(25.6, abs=0.05)


@pytest.mark.parametrize(
    ("reading", "percent", "counts", "count", "limit"),
    [
        (120.0, 1.0, 3, 0.1, 1.5),
        (100.0, 2.0, 2, 0.1, 2.2),
        (100.0, 1.0, 2, 0.1, 1.2),
        (100.0, 0.8, 2, 0.1, 1.0),
        (2.000, 0.08, 2, 0.001, 0.0036),
    ],
)
def test_accuracy_statements_as_makers_work_them_out(reading, percent, counts, count, limit):
    """From memory of meter makers' notes on "% of reading + counts": +-1.5 V; 97.8 to 102.2; 98.8 to
    101.2; +-1.0 V; 1.9964 to 2.0036. Absolute tolerance 1e-9."""
    statement = RangeAccuracy(percent / 100, count, counts=counts)
    assert half_width_si(statement, reading) == pytest.approx(limit, abs=1e-9)


def compared(known, u_known, read, shown, u_read=0.0):
    """A value by substitution alone: four wires, no temperature, a meter without a gain."""
    at = (Quantity.RESISTANCE_4W, 2e4, 1e-9, 0.0)
    plain = RangeAccuracy(0.0, 1e-9, range_full_scale_si=2e4)
    settled = Settled(
        "m", Quantity.RESISTANCE_4W, shown, u_read, 4.0, 0.0, 0.0, 0.0, 5, 2e4, 1e-9, 0.0, 0.0, 0.0
    )
    return correct(
        settled,
        four_wire=True,
        lead=None,
        now_utc_s=0.0,
        winding_celsius=20.0,
        winding_u_kelvin=0.0,
        reference_celsius=20.0,
        conductor=CONDUCTORS["copper"],
        accuracy=plain,
        against=Substitute("S", known, u_known, read, 0.0, *at, linearity_counts=0.0, drift=0.0),
    )


def test_ea_4_02_s3_by_our_difference():
    """EA-4/02 S3: the standard, drifted, is 10000.073 ohm; the ratio 1.0000105 makes the unknown 0.105 more.
    R_X = 10000.178 ohm (published), to 1 micro-ohm: the difference and the ratio part by 7.7e-7 ohm."""
    found = compared(10000.073, math.hypot(2.5e-3, 5.7735e-3, 1.5877e-3), 10000.0, 10000.105, 7.0711e-4)
    assert found.reference_ohm == pytest.approx(10000.1780007665, abs=1.1e-6)
    others = math.hypot(4.0825e-3, 3.1754e-3)  # parasitics and the item's own temperature, not ours
    assert math.hypot(found.standard_uncertainty_ohm, others) == pytest.approx(0.008328, abs=1e-6)


def test_jcgm_100_h1_the_gauge_block_is_the_standard_and_the_difference():
    """JCGM 100:2008, H.1: l_s = 50.000623 mm (u 25 nm), d = 215 nm (u 9.7 nm with what is systematic):
    l = 50.000838 mm. Here in ohms, one to the millimetre."""
    found = compared(50.000623, 25e-6, 50.0, 50.000215, 9.7e-6)
    assert found.reference_ohm == pytest.approx(50.000838, abs=1e-9)
    assert found.standard_uncertainty_ohm == pytest.approx(math.hypot(25e-6, 9.7e-6), rel=1e-9)
