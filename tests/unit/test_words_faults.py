"""Every fault has a sentence that tells its place and its size."""

from dataclasses import replace

import pytest

from acquire.records import Compared, FaultPlace, FirstUnitDoubt, Hypothesis, Pair
from acquire.verdict.dictionary import PRIORS
from acquire.words.faults import SENTENCES, batch_doubt, likely, sentence
from tests.known_records import BATCH

FAULTS = [
    (FaultPlace("healthy"), "No fault stands out: the readings are within the spread of good units."),
    (FaultPlace("unknown"), "None of the known faults explains these readings."),
    (FaultPlace("warm", (), (44.0,)), "The unit is about 44 K warmer than the thermometer says."),
    (FaultPlace("cold", (), (5.0,)), "The unit is about 5.0 K colder than the thermometer says."),
    (
        FaultPlace("lead_zero", ("high",), (0.35,)),
        "Every reading is about 350 mΩ too high: measure the lead zero again.",
    ),
    (FaultPlace("open_winding", ("trigger",)), "The trigger has an open circuit."),
    (FaultPlace("open_pin", ("2",), core="core"), "Pin 2 or its lead is broken."),
    (FaultPlace("open_pin", ("core",), core="core"), "The core or its clip is broken."),
    (
        FaultPlace("shorted_turns", ("P1",), (0.06,), turns=1020),
        "About 61 of 1020 turns of winding P1 are shorted.",
    ),
    (
        FaultPlace("shorted_turns", ("trigger",), (0.06,)),
        "About 6.0 % of the turns of the trigger are shorted.",
    ),
    (FaultPlace("too_few_turns", ("P1",), (0.02,), turns=500), "P1 has about 10 of 500 turns too few."),
    (
        FaultPlace("too_many_turns", ("P1",), (0.02,), turns=500),
        "P1 has about 10 of 500 turns too many, or stretched wire.",
    ),
    (
        FaultPlace("wire_too_thin", ("P1", "P2"), (0.26,)),
        "P1 and P2 are wound with wire too thin by about one gauge.",
    ),
    (
        FaultPlace("wire_too_thick", ("P1",), (0.11,)),
        "P1 is wound with wire too thick by about half a gauge.",
    ),
    (FaultPlace("aluminium_wire", ("P1",), (0.64,)), "P1 reads like aluminium wire of the right size."),
    (FaultPlace("strand_broken", ("P1",), (0.5,), strands=3), "One of 3 strands of winding P1 is broken."),
    (FaultPlace("bad_joint", ("2",), (12.0,)), "About 12 Ω too much in pin 2 or its lead: a bad joint."),
    (
        FaultPlace("grounded", ("phase V",), (0.35, 3.0), ends=("V",), core="core"),
        "The phase V is grounded to the core about 35 % along from pin V, through about 3.0 Ω.",
    ),
    (
        FaultPlace("winding_to_winding", ("P1", "S1"), (0.1, 0.9, 4700.0), ends=("1", "")),
        (
            "Winding P1 (about 90 % along from pin 1) touches winding S1 (about 10 % along), "
            "through about 4.7 kΩ."
        ),
    ),
    (FaultPlace("swapped_pins", ("2", "3")), "Pins 2 and 3 are swapped in the connector."),
    (
        FaultPlace("star_delta", ("U", "V", "W", "delta")),
        "The windings U, V and W are joined as a delta, not a star.",
    ),
    (
        FaultPlace("other_spool", ("P1", "P2"), (-0.035,), spool="36-B"),
        "P1 and P2 read like spool 36-B, with 3.5 % fewer ohms per metre.",
    ),
    (
        FaultPlace("other_spool", ("P1",), (0.02,)),
        "P1 reads like another spool, with 2.0 % more ohms per metre.",
    ),
]


@pytest.mark.parametrize(("place", "words"), FAULTS)
def test_every_fault_is_said(place, words):
    """With all that is known of its place and size."""
    assert sentence(Hypothesis(place.fault, 0.9, (place,))) == words


def test_no_fault_of_the_dictionary_is_without_a_sentence():
    """Nor without a line above."""
    assert {place.fault for place, _ in FAULTS} == set(SENTENCES)
    assert set(PRIORS) <= set(SENTENCES)


def test_two_faults_and_a_wrong_probe_are_said_too():
    """One sentence for each, and what the explanation supposes."""
    places = (FaultPlace("open_pin", ("2",)), FaultPlace("open_winding", ("P1",)))
    words = sentence(Hypothesis("two_faults", 0.5, places, (Pair("1", "2"), Pair("1", "3"))))
    assert words == (
        "Two faults. Pin 2 or its lead is broken. P1 has an open circuit. "
        "That supposes that the probes were on 1–3 when 1–2 was asked for."
    )
    assert likely(Hypothesis("healthy", 0.6, places[:1])) == "Pin 2 or its lead is broken (60 % sure)."


def test_a_fault_known_by_name_only_is_told_by_its_name():
    """As records of older programs have it."""
    assert sentence(Hypothesis("shorted_turns", 0.9)) == "Shorted turns."
    assert sentence(Hypothesis("shorted_turns", 0.9, (FaultPlace("shorted_turns"),))) == "Shorted turns."


def test_a_doubted_first_unit_is_told_with_the_reading_furthest_off():
    """Both explanations, and what sheet and cards predict."""
    doubted = replace(
        BATCH,
        compared=Compared(Pair("1", "2"), 103.6, 100.0, 1.9),
        first_doubt=FirstUnitDoubt(
            0.95, (Hypothesis("healthy", 0.8, (FaultPlace("other_spool", ("P1",), (0.036,)),)),)
        ),
    )
    assert batch_doubt(doubted) == (
        "P1 reads like another spool, with 3.6 % more ohms per metre (80 % sure). "
        "1–2 reads 103.6 Ω, predicted was 100.0 Ω: +3.6 %."
    )
    assert batch_doubt(BATCH) == ""
    assert "not as planned" in batch_doubt(replace(doubted, first_doubt=FirstUnitDoubt(0.6, ())))
    assert "Nothing was measured" in batch_doubt(replace(doubted, compared=None))
