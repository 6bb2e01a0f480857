"""Round wire by gauge and diameter, its spread, and the spool that was measured."""

from itertools import pairwise

import pytest

from acquire.errors import InputImpossible
from acquire.physics.copper import to_reference
from acquire.physics.wire import (
    METALS,
    awg_diameter_mm,
    awg_spread,
    diameter_from_ohm_per_m,
    measure_spool,
    metric_spread,
    nearest_awg,
    ohm_per_m,
)

COPPER = METALS["copper"]


def test_gauge_36_is_the_5_thousandths_the_series_starts_from():
    assert awg_diameter_mm(36) == pytest.approx(0.127)
    assert awg_diameter_mm(-3) == pytest.approx(11.684)


def test_gauges_beyond_40_are_nominal_not_on_the_series():
    assert awg_diameter_mm(42) == pytest.approx(2.5 * 0.0254)
    series = 0.127 * 92 ** ((36 - 42) / 39)
    assert (series / awg_diameter_mm(42)) ** 2 != pytest.approx(1.0, abs=0.003)


def test_half_gauges_lie_between():
    assert awg_diameter_mm(36) < awg_diameter_mm(35.5) < awg_diameter_mm(35)
    assert (awg_diameter_mm(35.5) / awg_diameter_mm(36)) ** 2 == pytest.approx(1.123, abs=1e-3)


def test_one_gauge_finer_is_26_percent_more_resistance():
    assert ohm_per_m(awg_diameter_mm(37)) / ohm_per_m(awg_diameter_mm(36)) == pytest.approx(1.261, abs=1e-3)


@pytest.mark.parametrize("gauge", [-4, 40.5, 41.5, 45, float("nan")])
def test_gauges_outside_the_tables_are_refused(gauge):
    with pytest.raises(InputImpossible, match="no AWG"):
        awg_diameter_mm(gauge)


@pytest.mark.parametrize("gauge", [-3, 0, 20, 20.5, 36, 40, 41, 44])
def test_a_measured_diameter_finds_its_gauge(gauge):
    assert nearest_awg(awg_diameter_mm(gauge) * 1.004) == gauge


def test_magnet_wire_and_the_american_standard_differ_by_0_86_percent():
    assert COPPER.resistivity_ohm_mm2_per_m * 58.5 == pytest.approx(1.0086, abs=1e-4)


def test_diameter_and_ohms_per_metre_undo_each_other():
    assert diameter_from_ohm_per_m(ohm_per_m(0.127)) == pytest.approx(0.127)


@pytest.mark.parametrize(
    ("diameter_mm", "below", "above"),
    [
        (0.071, 0.079, 0.090),
        (0.10, 0.057, 0.063),
        (0.125, 0.048, 0.048),
        (0.20, 0.030, 0.030),
        (0.25, 0.0312, 0.0328),
        (0.28, 0.0280, 0.0292),
        (0.45, 0.0218, 0.0226),
        (0.315, 0.025, 0.025),
        (0.5, 0.020, 0.020),
        (1.0, 0.020, 0.020),
    ],
)
def test_metric_spread_follows_from_the_diameter_tolerance(diameter_mm, below, above):
    """Figures to the rounding of a workshop table made from the same tolerances; common practice."""
    spread = metric_spread(diameter_mm)
    assert spread.below == pytest.approx(below, abs=2e-3)
    assert spread.above == pytest.approx(above, abs=2e-3)


def test_finer_wire_spreads_more():
    widths = [metric_spread(d).wider for d in (0.05, 0.071, 0.1, 0.2, 0.4)]
    assert widths == sorted(widths, reverse=True)
    gauges = [awg_spread(n).wider for n in (30, 34, 36, 38, 40, 42, 44)]
    assert gauges == sorted(gauges)


@pytest.mark.parametrize("gauge", [18, 20, 22, 24, 26, 28, 30, 32, 34, 35, 36, 38, 40, 42])
def test_the_spread_of_a_gauge_follows_from_the_limits_of_its_diameter(gauge):
    """ASTM B258 diameters to a tenth of a mil, and within 1 % or a tenth of a mil, the larger, rounded so."""
    mil = round(5.0 * 92.0 ** ((36 - gauge) / 39.0), 1)
    off = max(0.1, round(0.01 * mil, 1))
    spread = awg_spread(gauge)
    assert spread.below == pytest.approx(1.0 - (mil / (mil + off)) ** 2, abs=1.5e-3)
    assert spread.above == pytest.approx((mil / (mil - off)) ** 2 - 1.0, abs=1.5e-3)


def test_the_spread_of_gauges_is_some_per_cent_and_rises_with_fineness():
    """Makers' minimum and maximum: 1.6 to 8.5 %, more above than below, much like the gauge before."""
    found = [awg_spread(gauge / 2.0) for gauge in range(36, 85)]
    assert all(0.015 < each.below <= each.above < 0.09 for each in found)
    assert all(0.6 < b.above / a.above < 1.6 for a, b in pairwise(found))
    assert all(0.6 < b.below / a.below < 1.6 for a, b in pairwise(found))


def test_aluminium_has_61_percent_of_the_conductivity_of_copper():
    """0.028264 ohm mm²/m and 2.703 g/cm³ (IEC 60889, from memory)."""
    assert METALS["aluminium"].resistivity_ohm_mm2_per_m == pytest.approx(0.028264, rel=1e-3)
    assert METALS["aluminium"].density_g_per_cm3 == pytest.approx(2.703)


def test_spread_between_two_gauges_is_between_theirs():
    assert awg_spread(36).below < awg_spread(37).below < awg_spread(38).below
    assert awg_spread(37).above == pytest.approx(0.0465)
    assert awg_spread(0).below == awg_spread(18).below
    assert awg_spread(44).above == awg_spread(42).above


def test_a_spool_card_is_at_20_degrees():
    warm_ohm = to_reference(13.61, 20.0, 27.0, COPPER.conductor)
    card = measure_spool("A", warm_ohm, 10.0, 27.0, u_ohm=0.005)
    assert card.ohms_per_metre == pytest.approx(1.361)
    assert card.diameter_mm == pytest.approx(diameter_from_ohm_per_m(1.361))
    assert card.relative_u == pytest.approx(((0.005 / warm_ohm) ** 2 + 0.0002**2 + (0.5 / 261.5) ** 2) ** 0.5)


def test_impossible_spools_are_refused():
    for change in ({"sample_ohm": 0.0}, {"sample_m": -1.0}, {"celsius": -300.0}, {"u_ohm": -1.0}):
        facts = {"spool": "A", "sample_ohm": 1.0, "sample_m": 1.0, "celsius": 20.0, "u_ohm": 0.001, **change}
        with pytest.raises(InputImpossible):
            measure_spool(**facts)
    with pytest.raises(InputImpossible, match="diameter"):
        ohm_per_m(0.0)
