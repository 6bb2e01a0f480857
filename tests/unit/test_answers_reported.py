"""Values told over the telephone, and cores without a name."""

import math

import pytest

from acquire.answers.reported import Told, explain, weighed
from acquire.errors import InputImpossible
from acquire.physics.accuracy import accuracy_terms
from acquire.physics.common import PairReading
from acquire.physics.copper import CONDUCTORS
from acquire.records import Pair
from acquire.verdict.identify import identify
from acquire.words.faults import sentence
from drivers.accuracy import RangeAccuracy
from tests.known_sheets import FATHOM, PLOVER, QUERN

HAND = RangeAccuracy(0.008, 0.1, counts=5.0, range_full_scale_si=200.0)


def told(celsius=18.0, lead_ohm=0.3, **more):
    """A hand meter of 2000 counts: 0.8 % and 5 counts of 0.1 ohm."""
    return Told(
        celsius,
        lead_ohm,
        lambda ohm, factor: accuracy_terms(HAND, ohm, sensitivity=factor),
        "hand-2000",
        **more,
    )


def test_bad_joint_is_found_from_two_values():
    """214.6 and 58.2 at 18 °C with 0.3 ohm of leads: about 12 ohm in pin 2, to be proven on 1–3."""
    said = explain(PLOVER, [(Pair("1", "2"), 214.6), (Pair("2", "3"), 58.2)], told())
    assert said.hypotheses[0].fault == "bad_joint"
    assert said.hypotheses[0].places[0].where == ("2",)
    assert "pin 2 or its lead" in sentence(said.hypotheses[0])
    assert said.lines[0].startswith("1–2 (slow charge): told 214.6 Ω, that is 216.0 Ω ± ")
    assert "Ω at 20 °C without leads; should read 202.6 Ω" in said.lines[0]


def test_what_was_not_told_is_said():
    """Leads and temperature are the two usual traps."""
    said = " ".join(explain(PLOVER, [(Pair("5", "core"), 0.8)], told(None, None)).lines)
    assert "The leads were not told" in said
    assert "The temperature was not told" in said
    assert "Below 5 Ω the hand-2000 shows that a path is there" in said
    assert "this meter cannot judge it" in said


def test_lead_zero_is_not_taken_for_a_fault():
    """0.8 ohm where 0.39 should be, leads not told: nothing is sure."""
    said = explain(PLOVER, [(Pair("5", "core"), 0.8)], told(None, None))
    assert said.hypotheses[0].fault == "healthy"


def test_open_values_are_asked_for_again():
    """An open display proves little over the telephone."""
    values = [(Pair("2", "1"), math.inf), (Pair("2", "3"), 46.6), (Pair("1", "3"), math.inf)]
    said = explain(PLOVER, values, told())
    assert said.hypotheses[0].fault == "open_winding"
    assert said.lines[0] == "1–2 (slow charge): open; should read 202.6 Ω."
    assert any("touch every open pair once more" in line for line in said.lines)


def test_a_told_value_is_as_unsure_as_its_leads_and_temperature():
    """By hand: 0.05 ohm of leads, 1.5 K of 252.5, the meter's limit over the root of three."""
    factor = 254.5 / 252.5
    meter = (0.008 * 20.3 + 0.5) / math.sqrt(3.0) * factor
    warmth = 20.0 * factor * 1.5 / 252.5
    two = weighed(Pair("1", "2"), 20.3, told(), CONDUCTORS["copper"])
    assert two.ohm == pytest.approx(20.0 * factor)
    assert two.u_ohm == pytest.approx(math.hypot(meter, 0.05 * factor, warmth), rel=1e-6)
    untold = weighed(Pair("1", "2"), 20.3, told(lead_ohm=None), CONDUCTORS["copper"])
    assert untold.u_ohm == pytest.approx(math.hypot(meter, 0.2 * factor, warmth), rel=1e-6)
    four = weighed(Pair("2", "1"), 20.3, told(four_wire=frozenset({Pair("1", "2")})), CONDUCTORS["copper"])
    assert four.ohm == pytest.approx(20.3 * factor)
    assert four.u_ohm == pytest.approx(math.hypot(meter, 20.3 * factor * 1.5 / 252.5), rel=1e-6)


def test_two_values_say_what_was_not_touched():
    """Nothing of the core was told, so a winding on it, or open, would not show."""
    said = explain(PLOVER, [(Pair("1", "2"), 203.0), (Pair("2", "3"), 46.5)], told(20.0))
    assert said.hypotheses[0].fault == "healthy"
    at_core = next(each for each in said.hidden if "core" in each.pair)
    assert any(fault == "grounded" for fault, _ in at_core.faults)
    assert any("was not told" in line and "a touch of the core" in line for line in said.lines)
    assert all(set(each.pair) != {"1", "2"} for each in said.hidden)


def test_an_explanation_has_place_and_size():
    """For programs: 12 ohm in pin 2."""
    (place,) = explain(PLOVER, [(Pair("1", "2"), 214.6), (Pair("2", "3"), 58.2)], told()).hypotheses[0].places
    assert (place.fault, place.where) == ("bad_joint", ("2",))
    assert place.sizes == (pytest.approx(12.0, abs=1.0),)


def test_leads_told_badly_are_no_warm_unit():
    """0.15 ohm more on every pair of a star, leads told to 0.05: lead zero, which four wires cannot have."""
    ohms = {("U", "V"): 0.8914, ("V", "W"): 0.8914, ("U", "W"): 0.8914, ("U", "N"): 0.451, ("V", "N"): 0.451}
    values = [(Pair(*pair), ohm + 0.15) for pair, ohm in ohms.items()]
    fine = RangeAccuracy(1e-4, 1e-4, fraction_of_range=4e-5, range_full_scale_si=100.0)

    def chances(**more):
        meter = Told(
            20.0, 0.0, lambda ohm, factor: accuracy_terms(fine, ohm, sensitivity=factor), "m", **more
        )
        return {h.fault: h.probability for h in explain(QUERN, values, meter).hypotheses}

    two = chances()
    assert two["healthy"] + two["lead_zero"] > 0.9
    assert two["lead_zero"] > 5.0 * two["warm"]
    four = chances(wires=4)
    assert not {"healthy", "lead_zero"} & set(four)


def test_unknown_pins_are_refused():
    """By name."""
    with pytest.raises(InputImpossible, match='"7" is no pin'):
        explain(PLOVER, [(Pair("1", "7"), 1.0)], told())


def test_a_good_core_is_identified():
    """Pins 1 to 3 exist on two sheets; the values settle it."""
    readings = [PairReading(Pair("1", "2"), 203.0, 0.5), PairReading(Pair("2", "3"), 46.4, 0.2)]
    found = identify([FATHOM, PLOVER, QUERN], readings)
    assert found[0].sheet is PLOVER
    assert found[0].probability > 0.99
    assert {candidate.sheet for candidate in found} == {PLOVER, FATHOM, None}


def test_a_faulty_core_is_identified_all_the_same():
    """With a broken fast charge, 1–2 is still of a Plover."""
    readings = [PairReading(Pair("1", "2"), 203.0, 0.5), PairReading(Pair("2", "3"), math.inf, 0.0)]
    found = identify([FATHOM, PLOVER], readings)
    assert found[0].sheet in (PLOVER, FATHOM)
    readings += [PairReading(Pair("4", "core"), 83.5, 0.3), PairReading(Pair("1", "3"), math.inf, 0.0)]
    assert identify([FATHOM, PLOVER], readings)[0].sheet is PLOVER


def test_a_stranger_is_of_no_known_type():
    """Values that no sheet explains."""
    readings = [
        PairReading(Pair("1", "2"), 7.3, 0.02),
        PairReading(Pair("2", "3"), 3391.0, 5.0),
        PairReading(Pair("3", "4"), 0.9, 0.01),
    ]
    assert identify([FATHOM, PLOVER], readings)[0].sheet is None
    assert identify([FATHOM, PLOVER], []) == ()
