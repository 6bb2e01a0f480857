"""The daily check standard: its chart, and the signs that speak against a bench."""

import pytest

from acquire.errors import InputImpossible
from acquire.physics.check_standard import Resistor, chart_of, check_bench
from acquire.records import Sign

RESISTOR = Resistor("R1", certificate_ohm=100.0, expanded_ohm=0.02)
CALM = [100.00, 100.01, 99.99, 100.01, 100.00, 99.99, 100.00, 100.01, 99.99, 100.00]


def signs(reading, history=CALM, expanded=0.05):
    return set(check_bench(reading, expanded, RESISTOR, history).signs)


def test_an_ordinary_morning_is_in_control():
    check = check_bench(100.005, 0.05, RESISTOR, CALM)
    assert check.in_control


def test_a_reading_off_its_certificate_is_told_even_without_history():
    check = check_bench(100.06, 0.05, RESISTOR, [])
    assert check.signs == (Sign.OFF_CERTIFICATE,)
    assert check.chart is None


def test_a_reading_beyond_its_own_limits_is_told_though_the_certificate_allows_it():
    assert signs(100.045) == {Sign.BEYOND_LIMITS, Sign.JUMP}


def test_a_jump_within_the_limits_is_told():
    history = [100.0, 100.002] * 5 + [99.9955]
    assert Sign.JUMP in signs(100.0055, history=history, expanded=1.0)


def test_a_slow_drift_is_told_after_nine_on_one_side():
    history = [99.99] * 12 + [100.012] * 8
    spread = [99.97, 100.03] * 6
    assert Sign.RUN in signs(100.012, history=[*spread, *history], expanded=1.0)
    assert Sign.RUN not in signs(100.012, history=[*spread, *history[:-1]], expanded=1.0)


def test_the_chart_starts_with_the_eighth_reading():
    assert check_bench(100.0, 0.05, RESISTOR, CALM[:7]).chart is None
    assert check_bench(100.0, 0.05, RESISTOR, CALM[:8]).chart == chart_of(CALM[:8])


def test_impossible_readings_are_refused():
    for call in (
        lambda: chart_of([100.0]),
        lambda: chart_of([100.0, float("nan")]),
        lambda: check_bench(float("inf"), 0.1, RESISTOR, []),
        lambda: check_bench(100.0, -0.1, RESISTOR, []),
        lambda: check_bench(100.0, 0.1, Resistor("R1", 0.0, 0.1), []),
    ):
        with pytest.raises(InputImpossible):
            call()


def test_a_creeping_standard_is_told_before_it_leaves_its_limits():
    creeping = [100.0 + 0.0005 * i + (0.004 if i % 2 else -0.004) for i in range(30)]
    check = check_bench(100.012, 1.0, RESISTOR, creeping)
    assert Sign.TREND in check.signs
    assert check.trend.slope == pytest.approx(0.0005, rel=0.3)
    assert check.trend.slope == pytest.approx(0.0005, rel=0.05)


def test_a_quiet_standard_shows_no_trend():
    assert check_bench(100.0, 0.05, RESISTOR, CALM).trend.p > 0.05
    assert check_bench(100.0, 0.05, RESISTOR, CALM[:5]).trend is None
