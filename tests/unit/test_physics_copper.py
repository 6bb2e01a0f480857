"""Resistance at another temperature, and the winding as its own thermometer."""

import pytest

from acquire.errors import InputImpossible
from acquire.physics.checks import of_winding
from acquire.physics.copper import (
    CONDUCTORS,
    conductor_from_alpha,
    conductor_named,
    fraction_per_kelvin,
    to_reference,
    winding_celsius,
)

COPPER = CONDUCTORS["copper"]


def test_names_on_a_sheet_find_their_constant():
    assert {name: c.k_celsius for name, c in CONDUCTORS.items()} == {
        "copper": 234.5,
        "copper_iec": 235.0,
        "aluminium": 225.0,
        "aluminium_228": 228.0,
    }
    assert all(c.name == name and c.source for name, c in CONDUCTORS.items())


def test_a_winding_in_deep_frost_or_fresh_from_the_oven_is_one():
    """Within a kelvin of both ends, which the sentence names."""
    assert [of_winding(celsius) for celsius in (-59.0, 0.0, 299.0)] == [-59.0, 0.0, 299.0]
    for celsius in (-61.0, 301.0):
        with pytest.raises(InputImpossible, match="no temperature of a winding") as told:
            of_winding(celsius)
        assert told.value.hint == "It must lie between -60 and 300 °C."


def test_a_warm_winding_reads_less_at_the_reference_temperature():
    assert to_reference(1.0455, 64.0, 20.0, COPPER) == pytest.approx(0.8914, abs=1e-4)


def test_one_kelvin_of_copper_is_0_39_percent():
    assert fraction_per_kelvin(20.0, COPPER) == pytest.approx(0.00393, abs=1e-6)
    assert to_reference(100.0, 20.0, 21.0, COPPER) == pytest.approx(100.393, abs=1e-3)


def test_alpha_given_at_20_degrees_is_the_same_rule():
    given = conductor_from_alpha(1.0 / 254.5)
    assert given.k_celsius == pytest.approx(234.5)
    assert to_reference(100.0, 25.0, 20.0, conductor_from_alpha(0.00393)) == pytest.approx(
        100.0 / (1 + 0.00393 * 5), rel=1e-14
    )


def test_a_short_that_reads_slightly_negative_is_converted_like_any_other():
    assert to_reference(-0.001, 30.0, 20.0, COPPER) < 0.0


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: to_reference(1.0, -300.0, 20.0, COPPER), "below absolute zero"),
        (lambda: to_reference(1.0, 20.0, -280.0, COPPER), "below absolute zero"),
        (lambda: to_reference(1.0, -240.0, 20.0, COPPER), "has no meaning"),
        (lambda: to_reference(float("nan"), 20.0, 20.0, COPPER), "finite number"),
        (lambda: winding_celsius(0.0, 80.0, 20.0, COPPER), "above zero"),
        (lambda: winding_celsius(80.0, -1.0, 20.0, COPPER), "above zero"),
        (lambda: conductor_from_alpha(0.0), "above zero"),
    ],
)
def test_impossible_input_is_refused_with_a_sentence(call, sentence):
    with pytest.raises(InputImpossible, match=sentence) as caught:
        call()
    assert caught.value.hint


def test_a_sheet_may_give_the_coefficient_of_a_metal():
    """k = 1 / alpha - t: 0.00393 at 20 °C is 234.45, copper's own (NBS Handbook 100)."""
    given = conductor_named("alpha 0.00393 at 20")
    assert given.k_celsius == pytest.approx(234.45, abs=0.01)
    assert conductor_named("alpha 0.00393").k_celsius == given.k_celsius
    assert conductor_named("copper") is CONDUCTORS["copper"]


@pytest.mark.parametrize("name", ["tin", "alpha", "alpha 4", "alpha 0.0", "alpha 0.0039 at", "alpha 0,0039"])
def test_a_conductor_that_is_none_is_refused_with_what_there_is(name):
    """By name and by coefficient."""
    with pytest.raises(InputImpossible):
        conductor_named(name)
