"""Values told over the telephone, and cores without a name."""

import math

import pytest

from acquire.answers.explain import Told, explain
from acquire.errors import InputImpossible
from acquire.records import Pair
from acquire.verdict.identify import identify
from acquire.words.faults import sentence
from tests.known_sheets import FATHOM, PLOVER, QUERN


def hand_meter(ohm):
    """Standard uncertainty of 0.8 % and 5 counts of 0.1 ohm."""
    return (0.008 * ohm + 0.5) / math.sqrt(3)


def told(celsius=18.0, lead_ohm=0.3):
    """A hand meter of 2000 counts."""
    return Told(celsius, lead_ohm, hand_meter, "hand-2000")


def test_bad_joint_is_found_from_two_values():
    """214.6 and 58.2 at 18 °C with 0.3 ohm of leads: about 12 ohm in pin 2, to be proven on 1–3."""
    said = explain(PLOVER, [(Pair("1", "2"), 214.6), (Pair("2", "3"), 58.2)], told())
    assert said.hypotheses[0].fault == "bad_joint"
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
    assert any("Touch every open pair once more" in line for line in said.lines)


def test_unknown_pins_are_refused():
    """By name."""
    with pytest.raises(InputImpossible, match='"7" is no pin'):
        explain(PLOVER, [(Pair("1", "7"), 1.0)], told())


def test_a_good_core_is_identified():
    """Pins 1 to 3 exist on two sheets; the values settle it."""
    readings = [(Pair("1", "2"), 203.0, 0.5), (Pair("2", "3"), 46.4, 0.2)]
    found = identify([FATHOM, PLOVER, QUERN], readings)
    assert found[0].sheet is PLOVER
    assert found[0].probability > 0.99
    assert {candidate.sheet for candidate in found} == {PLOVER, FATHOM, None}


def test_a_faulty_core_is_identified_all_the_same():
    """With a broken fast charge, 1–2 is still of a Plover."""
    readings = [(Pair("1", "2"), 203.0, 0.5), (Pair("2", "3"), math.inf, 0.0)]
    found = identify([FATHOM, PLOVER], readings)
    assert found[0].sheet in (PLOVER, FATHOM)
    readings += [(Pair("4", "core"), 83.5, 0.3), (Pair("1", "3"), math.inf, 0.0)]
    assert identify([FATHOM, PLOVER], readings)[0].sheet is PLOVER


def test_a_stranger_is_of_no_known_type():
    """Values that no sheet explains."""
    readings = [(Pair("1", "2"), 7.3, 0.02), (Pair("2", "3"), 3391.0, 5.0), (Pair("3", "4"), 0.9, 0.01)]
    assert identify([FATHOM, PLOVER], readings)[0].sheet is None
    assert identify([FATHOM, PLOVER], []) == ()
