"""Copper at another temperature, platinum thermometers, insulation: against standards."""

import csv
from pathlib import Path

import pytest

from acquire.physics.copper import CONDUCTORS, conductor_from_alpha, to_reference, winding_celsius
from acquire.physics.insulation import RULES
from acquire.physics.insulation import to_reference as to_40
from drivers.platinum import platinum_celsius, platinum_ohm

DATA = Path(__file__).parents[1] / "data" / "published"


def test_rise_by_resistance():
    """From memory, alpha 1/234.5 at 0 °C: 80 ohm at 20 °C, 100 ohm hot: 83.63 °C, rise 63.63 K."""
    hot = winding_celsius(100.0, 80.0, 20.0, CONDUCTORS["copper"])
    assert hot == pytest.approx(83.625, abs=1e-9)
    assert hot - 20.0 == pytest.approx(63.63, abs=0.01)


@pytest.mark.parametrize("t", range(-40, 156, 5))
def test_there_and_back_to_the_last_digit(t):
    """R20 -> R(t) -> R20 within 1e-14 relative over the span of a workshop and its oven."""
    copper = CONDUCTORS["copper"]
    assert to_reference(to_reference(100.0, 20.0, t, copper), t, 20.0, copper) == pytest.approx(
        100.0, rel=1e-14
    )


@pytest.mark.parametrize(
    ("at", "k_234_5", "k_235", "alpha"),
    [(25.0, 0.980732, 0.980769, 0.980729), (10.0, 1.040900, 1.040816, 1.040908)],
)
def test_the_three_copper_rules_differ_by_less_than_90_ppm(at, k_234_5, k_235, alpha):
    """IEC 60028 / NBS Handbook 100 (234.5), IEC 60034-1 (235, clause from memory), alpha 0.00393 at 20 °C.
    1e-6."""
    factors = [
        to_reference(1.0, at, 20.0, metal)
        for metal in (CONDUCTORS["copper"], CONDUCTORS["copper_iec"], conductor_from_alpha(0.00393))
    ]
    assert factors == pytest.approx([k_234_5, k_235, alpha], abs=1e-6)
    assert max(factors) - min(factors) < 93e-6


def test_a_wire_table_headed_25_degrees_by_mistake_is_told_apart():
    """One distributor's chart prints the 20 °C column under "25 °C"; AWG 10 at 25 °C must be 1.0196 times
    0.9989."""
    at_25 = to_reference(0.9989, 20.0, 25.0, CONDUCTORS["copper"])
    assert at_25 / 0.9989 == pytest.approx(1.0196, abs=1e-4)


def test_pt100_reference_table_both_ways():
    """IEC 60751, Pt100, -200 to 200 °C in steps of 10: 41 points within 0.0051 ohm; inverse within 0.02 K."""
    with (DATA / "pt100_iec60751.csv").open(encoding="utf-8") as opened:
        rows = [(float(row["t_C"]), float(row["ohm"])) for row in csv.DictReader(opened)]
    assert len(rows) == 41
    for t, ohm in rows:
        assert platinum_ohm(t) == pytest.approx(ohm, abs=0.0051)
        assert platinum_celsius(ohm) == pytest.approx(t, abs=0.02)


def test_pt100_at_minus_160_is_not_the_misprint():
    """One printed table gives 35.34 ohm at -160 °C; the formula and another table 35.54."""
    assert round(platinum_ohm(-160.0), 2) == 35.54


@pytest.mark.parametrize(
    ("megohm", "at", "at_40"), [(15.0, 70.0, 120.0), (75.0, 30.0, 37.5), (200.0, 20.0, 50.0)]
)
def test_insulation_halves_for_every_10_kelvin(megohm, at, at_40):
    """IEEE 43-2013 as a testing firm quotes and works it: 15 Mohm at 70 °C is 120 Mohm at 40 °C; 150 at 20 is
    75 at 30."""
    assert to_40(megohm * 1e6, at, RULES["thermoplastic"]) == pytest.approx(at_40 * 1e6)
