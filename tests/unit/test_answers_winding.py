"""Ohms, turns and wire for the winder, against figures of the trade from memory."""

from __future__ import annotations

import re

import pytest

from acquire.answers.winding import winding
from acquire.errors import InputImpossible
from acquire.physics.copper import CONDUCTORS, to_reference
from tests.commands import printed
from tests.whole_bench import CONFIGS


def number_after(words, text):
    """The first number behind some words."""
    return float(re.search(re.escape(words) + r"\D*?([0-9.]+)", text)[1])


@pytest.mark.parametrize(
    ("wire", "mean_turn", "extra", "turns", "ohm", "mass_g"),
    [
        ("AWG 36", "62 mm", "0 mm", 2400, 202.57, 16.8),
        ("AWG 33", "67 mm", "0 mm", 1020, 46.17, None),
        ("AWG 38", "34 mm", "0 mm", 1150, 83.17, None),
        ("AWG 20", "86 mm", "0.18 m", 152, 0.4404, 61.0),
    ],
)
def test_ohms_of_the_demonstration_windings(wire, mean_turn, extra, turns, ohm, mass_g):
    """Computed apart from a table whose diameters are rounded to a tenth of a mil (facts of the trade,
    computed): up to 2 % for fine wire, well inside its spread."""
    text = "\n".join(printed(winding, wire=wire, mean_turn=mean_turn, turns=turns, extra=extra))
    assert number_after("turns: ", text) == pytest.approx(ohm, rel=0.02)
    if mass_g:
        assert number_after("m of wire, ", text) == pytest.approx(mass_g, rel=5e-3)


def test_weighing_needs_no_micrometer():
    """202.5 ohm and 16.8 g are 149 m of 0.1271 mm (a fact of the trade, computed; true 148.8 m)."""
    text = "\n".join(printed(winding, mass=16.8, ohm="202.5 ohm", mean_turn="62 mm"))
    assert "149 m of 0.1271 mm" in text
    assert "AWG 36" in text
    assert number_after("weighing\n  ", text) == pytest.approx(2403, abs=1)


def test_weighing_at_another_temperature_gives_the_same_wire():
    """The ohms are brought to 20 °C first."""
    warm = to_reference(202.5, 20.0, 35.0, CONDUCTORS["copper"])
    assert "of 0.1271 mm" in printed(winding, mass=16.8, ohm=f"{warm:.3f} ohm", celsius=35.0)[0]


def test_the_same_wire_of_aluminium_has_64_per_cent_more_ohms_and_weighs_less():
    """61 % of the conductivity of copper, so 1 / 0.61 (a fact of the trade, from memory)."""
    copper = "\n".join(printed(winding, wire="AWG 36", mean_turn="62 mm", turns=2400))
    aluminium = "\n".join(printed(winding, wire="AWG 36", mean_turn="62 mm", turns=2400, metal="aluminium"))
    ratio = number_after("turns: ", aluminium) / number_after("turns: ", copper)
    assert ratio == pytest.approx(1 / 0.61, rel=5e-3)
    assert number_after("m of wire, ", aluminium) < 0.32 * number_after("m of wire, ", copper)


def test_a_spool_card_narrows_what_is_to_be_expected():
    """From the spread of wire as bought to that of one measured spool."""
    as_bought = number_after("within ", printed(winding, wire="AWG 36", mean_turn="62 mm", turns=2400)[1])
    spools = CONFIGS / "wire" / "spools.toml"
    measured = number_after(
        "within ", printed(winding, wire="36-A", mean_turn="62 mm", turns=2400, spools=spools)[1]
    )
    assert measured < 0.5 * as_bought
    assert measured == pytest.approx(1.9, abs=0.4)  # a fact of the trade, computed


def test_turns_from_ohms_are_a_check_and_no_count():
    """Wire as bought and mean turn leave four to eight per cent (a fact of the trade, computed)."""
    (last,) = printed(winding, wire="AWG 36", mean_turn="62 mm", ohm="202.5 ohm")[1:]
    assert "2400 turns" in last
    assert last.endswith("a check, not a count")
    assert 0.03 < number_after("within ", last) / 2400 < 0.08


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: printed(winding), "not enough"),
        (lambda: printed(winding, wire="AWG 36", mean_turn="62 mm"), "--turns or --ohm"),
        (lambda: printed(winding, wire="AWG 36", mean_turn="62 mm", turns=10, metal="tin"), "no metal"),
        (lambda: printed(winding, mass=16.8), "--ohm"),
        (lambda: printed(winding, mass=0.0, ohm="1 ohm"), "above zero"),
        (
            lambda: printed(
                winding, wire="36-Z", mean_turn="62 mm", turns=1, spools=CONFIGS / "wire" / "spools.toml"
            ),
            "36-A",
        ),
    ],
)
def test_what_is_missing_or_cannot_be_is_said(ask, said):
    """With what to give instead."""
    with pytest.raises(InputImpossible, match=re.escape(said)):
        ask()


def test_a_winding_is_its_own_thermometer():
    """243.3 ohm of a 202.57 ohm winding: 202.57 (234.5 + t) / 254.5 = 243.3 at 71.2 °C."""
    (line,) = printed(winding, reference="202.57 ohm", ohm="243.3 ohm")
    expected = 243.3 / 202.57 * 254.5 - 234.5
    assert f"at {expected:.1f} °C" in line
    with pytest.raises(InputImpossible, match="--ohm"):
        printed(winding, reference="202.57 ohm")


@pytest.mark.parametrize("ohm", ["1 ohm", "900 ohm"])
def test_a_temperature_that_no_winding_has_is_doubted(ohm):
    """A broken joint or another winding, not a thermometer."""
    with pytest.raises(InputImpossible, match="Is it the same winding"):
        printed(winding, reference="202.57 ohm", ohm=ohm)


def test_a_reference_at_another_temperature_is_taken_as_such():
    """R2 = R1 (234.5 + t2) / (234.5 + t1): 109 ohm of 100 ohm at 25 °C are 48.4 °C, not 42.9."""
    assert "it is at 48.4 °C" in printed(winding, reference="100 ohm", ohm="109 ohm", celsius=25.0)[0]
    assert "100.0 Ω at 25 °C" in printed(winding, reference="100 ohm", ohm="109 ohm", celsius=25.0)[0]
