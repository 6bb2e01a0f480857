"""Wire tables, windings and time constants against published tables, and coils from memory."""

import csv
import math
from pathlib import Path

import pytest

from acquire.physics.copper import CONDUCTORS
from acquire.physics.winding import Design, Wire, expect, turns_from_ohm
from acquire.physics.wire import METALS, Metal, area_mm2, awg_diameter_mm, metric_spread, ohm_per_m

DATA = Path(__file__).parents[1] / "data" / "published"
METRE_PER_1000_FT = 304.8


def awg_rows():
    with (DATA / "awg_copper_20c.csv").open(encoding="utf-8") as opened:
        return [
            (int(row["awg"]), float(row["diameter_in"]), float(row["ohm_per_1000ft_20c"]))
            for row in csv.DictReader(opened)
        ]


def test_annealed_copper_standard():
    """NBS Handbook 100 (1966), IEC 60028: 0.017241 ohm mm²/m = 1/58 at 20 °C."""
    assert METALS["copper"].resistivity_ohm_mm2_per_m == pytest.approx(0.017241, abs=1e-6)
    assert METALS["copper"].resistivity_ohm_mm2_per_m == pytest.approx(1 / 58, rel=3e-5)


@pytest.mark.parametrize("row", [r for r in awg_rows() if 14 <= r[0] <= 40], ids=lambda r: f"AWG {r[0]}")
def test_american_gauges_14_to_40(row):
    """Ohms per 1000 ft at 20 °C, NBS Handbook 100 and university tables; relative tolerance 5e-4."""
    gauge, diameter_in, ohms = row
    assert ohm_per_m(awg_diameter_mm(gauge)) * METRE_PER_1000_FT == pytest.approx(ohms, rel=5e-4)
    assert awg_diameter_mm(gauge) / 25.4 == pytest.approx(diameter_in, abs=1e-5)


@pytest.mark.parametrize("row", [r for r in awg_rows() if r[0] < 14], ids=lambda r: f"AWG {r[0]}")
def test_american_gauges_0_to_13(row):
    """The same table, coarse gauges: printed to four digits at best; relative tolerance 1e-3."""
    gauge, _, ohms = row
    assert ohm_per_m(awg_diameter_mm(gauge)) * METRE_PER_1000_FT == pytest.approx(ohms, rel=1e-3)


@pytest.mark.parametrize(("gauge", "ohms"), [(41, 1323), (42, 1659), (43, 2143), (44, 2593)])
def test_american_gauges_41_to_44_are_nominal(gauge, ohms):
    """ASTM B258-61 nominal 2.8, 2.5, 2.2, 2.0 mil (from memory); absolute tolerance 1 ohm per 1000 ft. The
    series would be 0.5 to 2.3 % off."""
    assert ohm_per_m(awg_diameter_mm(gauge)) * METRE_PER_1000_FT == pytest.approx(ohms, abs=1.0)


@pytest.mark.parametrize(
    ("diameter_mm", "ohms"),
    [
        (0.020, 54.41),
        (0.050, 8.706),
        (0.100, 2.176),
        (0.200, 0.5441),
        (0.250, 0.3482),
        (0.500, 0.08706),
        (1.000, 0.02176),
    ],
)
def test_metric_enamelled_wire(diameter_mm, ohms):
    """IEC 60317-0-1 with 58.5 MS/m (inferred from a maker's litz table; 0.100 mm = 2.176 ohm/m from memory).
    5e-4."""
    assert ohm_per_m(diameter_mm, METALS["magnet_wire"]) == pytest.approx(ohms, rel=5e-4)


def test_a_makers_litz_table():
    """Ten strands of 0.020 mm with 2 % lay: 5.5500 ohm/m, limits 4.9950 to 6.1050 (10 %)."""
    strand = ohm_per_m(0.020, METALS["magnet_wire"])
    assert strand / 10 * 1.02 == pytest.approx(5.55, rel=1e-3)
    spread = metric_spread(0.020)
    assert (spread.below, spread.above) == (0.10, 0.10)


def test_a_diameter_tolerance_of_3_micrometres_moves_0_1_mm_wire_by_6_percent():
    """A maker's table: 0.100 mm +-0.003 mm."""
    assert metric_spread(0.100).wider == pytest.approx(0.06, abs=0.005)


def plain(resistivity, diameter_mm):
    metal = Metal("as stated", resistivity, 8.89, CONDUCTORS["copper"], "the example")
    return Wire(resistivity / area_mm2(diameter_mm), diameter_mm, metal, None, 0.0, "as stated")


@pytest.mark.parametrize(
    ("turns", "mean_turn_m", "resistivity", "diameter_mm", "ohms"),
    [
        (2000, 0.80, 0.02, math.sqrt(4 * 0.8 / math.pi), 40.0),
        (250, 2 * math.pi * 0.12, 0.0169, 1.3, 2.4),
        (150, 2 * math.pi * 0.0065, 0.0172, 0.4, 0.84),
        (820, 9 * 0.0254, 0.0172, 32 * 0.0254, 6.2),
    ],
)
def test_textbook_coils(turns, mean_turn_m, resistivity, diameter_mm, ohms):
    """Of physics textbooks, from memory: 40, 2.4, 0.84 and 6.2 ohm (computed: 40.0, 2.400, 0.8385, 6.214)."""
    whole = expect(Design(turns, mean_turn_m), plain(resistivity, diameter_mm))
    assert whole.reference_ohm == pytest.approx(ohms, rel=4e-3)


def test_textbook_turns_from_ohms():
    """From memory: 40 ohm of nichrome, 1e-6 ohm m, 2 mm thick, on a former of 5 cm: 800 turns."""
    turns, _ = turns_from_ohm(40.0, Design(100, math.pi * 0.05), plain(1.0, 2.0))
    assert turns == pytest.approx(800.0, rel=1e-9)
