"""The fault dictionary of the trade on the three invented units: right fault, right place, right size."""

import math

import pytest

from acquire.records import Pair, Purpose
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import best_next_pair, diagnose, findings
from tests.known_sheets import FATHOM, PLOVER, QUERN

OPEN = math.inf
TABLES = {sheet.name: PairTable(sheet) for sheet in (PLOVER, QUERN, FATHOM)}


def explained(sheet, readings, **more):
    """The diagnosis with the table that belongs to the sheet."""
    return diagnose(sheet, TABLES[sheet.name], readings, **more)


def plover(slow, fast, both, trigger=83.2):
    """Readings of the four steps of the Plover 80, known to 0.2 %."""
    pairs = (Pair("1", "2"), Pair("2", "3"), Pair("1", "3"), Pair("4", "core"))
    return known(zip(pairs, (slow, fast, both, trigger), strict=True), 0.01)


def quern(u_v, v_w, u_w, v_n):
    """Readings of the four steps of the Quern 12 with four wires."""
    pairs = (Pair("U", "V"), Pair("V", "W"), Pair("U", "W"), Pair("V", "N"))
    return known(zip(pairs, (u_v, v_w, u_w, v_n), strict=True), 0.0005)


def known(values, floor_ohm):
    """0.2 % of reading and a floor."""
    return [(pair, ohm, math.hypot(0.002 * ohm, floor_ohm) if ohm < OPEN else 0.0) for pair, ohm in values]


def test_good_unit_is_called_good():
    """Nothing else comes near."""
    found = explained(PLOVER, plover(202.6, 46.2, 248.7))
    assert found[0].fault == "healthy"
    assert found[0].probability > 0.8


@pytest.mark.parametrize(
    ("readings", "fault", "sentence"),
    [
        (
            plover(170.2, 46.2, 216.3),
            "shorted_turns",
            "About 377 of 2400 turns of the slow charge are shorted.",
        ),
        (
            plover(214.6, 58.2, 248.69),
            "bad_joint",
            "About 12 Ω too much in pin 2 or its lead: a bad joint.",
        ),
        (plover(OPEN, OPEN, 248.7), "open_pin", "Pin 2 or its lead is broken."),
        (plover(OPEN, 46.2, OPEN), "open_winding", "The slow charge is broken: no path through it."),
        (
            plover(213.7, 48.7, 262.4, 87.8),
            "warm",
            "The unit is about 13 K warmer than the thermometer says.",
        ),
        (
            plover(202.6, 248.7, 46.2),
            "swapped_pins",
            "Pins 1 and 2 are in each other's place in the connector.",
        ),
    ],
)
def test_faults_of_the_plover(readings, fault, sentence):
    """Planted: 16 % of 2400 turns, 12 ohm, 14 K; the sizes found allow for the spread of good windings."""
    found = explained(PLOVER, readings)
    assert (found[0].fault, found[0].sentence) == (fault, sentence)


def test_joint_and_thin_wire_share_the_blame_where_readings_cannot_tell():
    """8 ohm in pin 3 or 17 % more in the winding behind it read the same: both are listed."""
    found = explained(PLOVER, plover(202.6, 54.17, 256.7))
    assert found[0].fault == "bad_joint"
    assert {hypothesis.fault for hypothesis in found[1:3]} == {"too_many_turns", "wire_too_thin"}


def test_high_resistance_is_never_called_shorted_turns():
    """A common belief says it is; copper does not gain ohms by losing turns."""
    for factor in (1.05, 1.1, 1.3, 2.0, 10.0):
        found = findings(PLOVER, TABLES["Plover 80"], plover(202.6 * factor, 46.2, 202.6 * factor + 46.1))
        shorted = [f for f in found if f.case.fault in ("shorted_turns", "too_few_turns")]
        assert sum(f.probability for f in shorted if f.case.where == ("slow charge",)) < 1e-3
        assert found[0] not in shorted


def test_bypassed_coil_of_a_phase():
    """One of four coils: a quarter of the phase, or wire a gauge too thick; never a joint."""
    found = explained(QUERN, quern(0.7814, 0.7814, 0.8914, 0.341), two_wire=False)
    assert found[0].sentence == "About 38 of 152 turns of the phase V are shorted."


def test_hot_stator_is_called_warm():
    """64 °C believed to be 20 °C: plus 17 % on every pair."""
    found = explained(QUERN, quern(1.0455, 1.0455, 1.0455, 0.529), two_wire=False)
    assert (found[0].fault, found[0].sentence[:26]) == ("warm", "The unit is about 44 K war")


def test_high_lead_zero_is_the_same_ohms_everywhere():
    """0.35 ohm on 1.65 and on 266 alike."""
    values = (
        (Pair("1", "2"), 243.44),
        (Pair("3", "4"), 266.46),
        (Pair("5", "6"), 1.998),
        (Pair("7", "8"), 1.998),
    )
    found = explained(FATHOM, known(values, 0.005))
    assert found[0].fault == "lead_zero"
    assert found[0].sentence == "Every reading is about 350 mΩ too high: measure the lead zero again."
    assert all(
        hypothesis.fault != "lead_zero"
        for hypothesis in explained(FATHOM, known(values, 0.005), two_wire=False)
    )


def test_what_was_just_wound_has_other_priors():
    """Too few turns are likelier in a new winding, shorted ones in a used one; ohms cannot tell."""
    readings = plover(202.6, 43.0, 245.6)
    assert explained(PLOVER, readings, purpose=Purpose.INCOMING)[0].fault == "shorted_turns"
    assert explained(PLOVER, readings, purpose=Purpose.FINAL)[0].fault == "too_few_turns"


def test_a_shop_may_set_its_own_priors():
    """By the names of the faults."""
    readings = plover(202.6, 43.0, 245.6)
    assert explained(PLOVER, readings, priors={"too_few_turns": 9.0})[0].fault == "too_few_turns"


def test_nonsense_is_called_unknown():
    """Four readings that no single fault can give."""
    found = explained(PLOVER, plover(17.0, 900.0, 3.3, 1234.0))
    assert found[0].fault == "unknown"


def test_no_readings_no_diagnosis():
    """Not even "healthy"."""
    assert explained(PLOVER, ()) == ()


def test_probabilities_add_up():
    """Over everything, listed or not."""
    found = findings(PLOVER, TABLES["Plover 80"], plover(202.6, 54.17, 256.7))
    assert sum(finding.probability for finding in found) == pytest.approx(1.0)


def test_next_pair_tells_a_break_in_the_winding_from_one_in_the_lead():
    """With 1–2 and 1–3 open and 2–3 good, no pair can: pin 1 and the slow charge are one path."""
    readings = plover(OPEN, 46.2, OPEN)
    assert best_next_pair(PLOVER, TABLES["Plover 80"], readings, explained(PLOVER, readings)) is None


def test_next_pair_after_one_high_reading_separates_joint_and_winding():
    """1–2 reads 12 ohm high: 1–3 or 2–3 says whether it is the winding, pin 1 or pin 2."""
    readings = plover(214.6, 58.2, 248.69)[:1]
    found = explained(PLOVER, readings)
    assert best_next_pair(PLOVER, TABLES["Plover 80"], readings, found) in (Pair("1", "3"), Pair("2", "3"))


def test_no_next_pair_when_all_is_clear():
    """A sure diagnosis asks for nothing more."""
    readings = plover(214.6, 58.2, 248.69)
    assert best_next_pair(PLOVER, TABLES["Plover 80"], readings, explained(PLOVER, readings)) is None
