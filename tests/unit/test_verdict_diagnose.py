"""The fault dictionary of the trade on the three invented units: right fault, right place, right size."""

import math
from dataclasses import replace

import pytest

from acquire.physics.common import PairReading
from acquire.physics.network import resistance_between
from acquire.records import Pair, Pin, Purpose, Step
from acquire.steps.pairs import PairTable
from acquire.verdict.diagnose import best_next_pair, casebook, diagnose, findings
from acquire.words.faults import sentence
from tests.known_sheets import FATHOM, PLOVER, QUERN, winding
from tests.true_units import measured

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
    return [
        PairReading(p, ohm, math.hypot(0.002 * ohm, floor_ohm) if ohm < OPEN else 0.0) for p, ohm in values
    ]


def test_good_unit_is_called_good():
    """Nothing else comes near."""
    found = explained(PLOVER, plover(202.6, 46.2, 248.7))
    assert found[0].fault == "healthy"
    assert found[0].probability > 0.8


@pytest.mark.parametrize(
    ("readings", "fault", "words"),
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
        (plover(OPEN, 46.2, OPEN), "open_winding", "The slow charge has an open circuit."),
        (
            plover(213.7, 48.7, 262.4, 87.8),
            "warm",
            "The unit is about 13 K warmer than the thermometer says.",
        ),
        (
            plover(202.6, 248.7, 46.2),
            "swapped_pins",
            "Pins 1 and 2 are swapped in the connector.",
        ),
    ],
)
def test_faults_of_the_plover(readings, fault, words):
    """Planted: 16 % of 2400 turns, 12 ohm, 14 K; the sizes found allow for the spread of good windings."""
    found = explained(PLOVER, readings)
    assert (found[0].fault, sentence(found[0])) == (fault, words)


def test_joint_and_thin_wire_share_the_blame_where_readings_cannot_tell():
    """8 ohm in pin 3 or 17 % more in the winding behind it read the same: both are listed."""
    found = explained(PLOVER, plover(202.6, 54.17, 256.7))
    assert found[0].fault == "bad_joint"
    assert found[1].fault == "wire_too_thin"


def test_high_resistance_is_never_called_shorted_turns():
    """A common belief says it is; copper does not gain ohms by losing turns."""
    for factor in (1.05, 1.1, 1.3, 2.0, 10.0):
        found = findings(PLOVER, TABLES["Plover 80"], plover(202.6 * factor, 46.2, 202.6 * factor + 46.1))
        shorted = [f for f in found if f.case.fault in ("shorted_turns", "too_few_turns")]
        assert sum(f.probability for f in shorted if f.case.where == ("slow charge",)) < 2e-3
        assert found[0] not in shorted


def test_bypassed_coil_of_a_phase():
    """One of four coils: a quarter of the phase, or wire a gauge too thick; never a joint."""
    found = explained(QUERN, quern(0.7814, 0.7814, 0.8914, 0.341), four_wire_below_ohm=math.inf)
    assert sentence(found[0]) == "About 38 of 152 turns of the phase V are shorted."


def test_hot_stator_is_called_warm():
    """64 °C believed to be 20 °C: plus 17 % on every pair."""
    found = explained(QUERN, quern(1.0455, 1.0455, 1.0455, 0.529), four_wire_below_ohm=math.inf)
    assert (found[0].fault, sentence(found[0])[:26]) == ("warm", "The unit is about 44 K war")


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
    assert found[0].places[0].sizes[0] == pytest.approx(0.35, abs=0.01)
    assert sentence(found[0]) == "Every reading is about 350 mΩ too high: measure the lead zero again."
    assert all(
        hypothesis.fault != "lead_zero"
        for hypothesis in explained(FATHOM, known(values, 0.005), four_wire_below_ohm=math.inf)
    )


def test_what_was_just_wound_has_other_priors():
    """Too few turns are likelier in a new winding than in a used one; ohms cannot tell."""

    def few_turns(purpose):
        found = explained(PLOVER, plover(202.6, 43.0, 245.6), purpose=purpose)
        return next(hypothesis.probability for hypothesis in found if hypothesis.fault == "too_few_turns")

    assert few_turns(Purpose.FINAL) > 1.5 * few_turns(Purpose.INCOMING)


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


def test_next_pair_after_one_high_reading_is_another_winding():
    """6 % too much may be warmth: a winding that has nothing to do with 1–2 tells."""
    readings = plover(214.6, 58.2, 248.69)[:1]
    found = explained(PLOVER, readings)
    pair = best_next_pair(PLOVER, TABLES["Plover 80"], readings, found)
    assert found[0].fault == "warm"
    assert {b.name for b in TABLES["Plover 80"].windings(pair)} & {"trigger", "lighting", "fast charge"}


def test_next_pair_after_two_high_readings_is_their_diagonal():
    """10 ohm more on 2–3 only: a joint in pin 2 or 3, or thin wire; the diagonal or 1–2 settles it."""
    readings = plover(202.6, 56.2, 258.6)[1:2]
    found = explained(PLOVER, readings)
    pair = best_next_pair(PLOVER, TABLES["Plover 80"], readings, found)
    assert pair in (Pair("1", "2"), Pair("1", "3"))


def test_no_next_pair_when_all_is_clear():
    """A sure diagnosis asks for nothing more."""
    readings = plover(214.6, 58.2, 248.69)
    assert best_next_pair(PLOVER, TABLES["Plover 80"], readings, explained(PLOVER, readings)) is None


def test_ground_is_located_by_three_readings():
    """Slow charge grounded at a fifth of its length through 40 ohm, as the fault dictionary reckons it."""
    pairs = (Pair("1", "core"), Pair("2", "core"), Pair("3", "core"), Pair("1", "2"))
    found = explained(PLOVER, known(zip(pairs, (80.5, 202.1, 248.2, 202.57), strict=True), 0.01))
    assert found[0].fault == "grounded"
    assert (
        sentence(found[0])
        == "The slow charge is grounded to the core about 20 % along from pin 1, through about 40 Ω."
    )


def test_ground_in_a_star_is_located():
    """Phase V grounded at 35 % through 3 ohm, four wires."""
    pairs = [Pair(pin, "core") for pin in "UVN"] + [Pair("U", "V"), Pair("V", "W"), Pair("U", "W")]
    found = explained(
        QUERN,
        known(zip(pairs, (3.73, 3.16, 3.29, *[0.8914] * 3), strict=True), 0.0005),
        four_wire_below_ohm=math.inf,
    )
    assert (
        sentence(found[0])
        == "The phase V is grounded to the core about 35 % along from pin V, through about 3.0 Ω."
    )


def test_delta_by_mistake_is_named():
    """A third of the line value on every pair, and the neutral is dead."""
    found = explained(
        QUERN, quern(0.304, 0.304, 0.304, OPEN), four_wire_below_ohm=math.inf, purpose=Purpose.FINAL
    )
    assert found[0].fault == "star_delta"
    assert "joined as a delta, not a star" in sentence(found[0])


def test_thin_wire_in_all_phases_or_a_very_warm_unit():
    """26 % more everywhere: both explanations stay, and nothing else."""
    found = explained(
        QUERN, quern(1.121, 1.121, 1.121, 0.566), four_wire_below_ohm=math.inf, purpose=Purpose.FINAL
    )
    assert {hypothesis.fault for hypothesis in found} == {"wire_too_thin", "warm"}


def test_windings_that_touch_are_located():
    """P1 at 40 % and P2 at 10 %, through 25 ohm; three cross readings."""
    pairs = [Pair("1", "2"), Pair("3", "4"), Pair("1", "3"), Pair("2", "4"), Pair("1", "4")]
    ohms = (243.1, 266.1, 97.2 + 25 + 26.6, 145.9 + 25 + 239.5, 97.2 + 25 + 239.5)
    found = explained(FATHOM, known(zip(pairs, ohms, strict=True), 0.01))
    assert found[0].fault == "winding_to_winding"
    assert found[0].probability > 0.9


def test_two_faults_are_told_together():
    """A joint in pin 2 and a quarter of the trigger shorted."""
    found = explained(PLOVER, plover(214.6, 58.2, 248.69, 60.0))
    assert found[0].fault == "two_faults"
    assert "About 12 Ω too much in pin 2 or its lead" in sentence(found[0])
    assert "of the trigger are shorted" in sentence(found[0])
    assert found[0].probability > 0.7


def test_faults_that_change_nothing_measured_are_no_explanation():
    """Without a reading to the core, a grounded charge winding is neither named nor excluded."""
    found = findings(PLOVER, TABLES["Plover 80"], plover(202.6, 46.2, 248.7))
    assert ("grounded", ("slow charge",)) not in [(f.case.fault, f.case.where) for f in found]


DELTA = replace(
    QUERN,
    branches=tuple(winding(f"phase {a}{b}", a, b, 0.9, 0.04, 100, strands=3) for a, b in ("UV", "VW", "WU")),
    steps=(),
    balances=(),
)
LINES = (Pair("U", "V"), Pair("V", "W"), Pair("U", "W"))


def of_delta(*ohms):
    """Diagnosis of line readings of a delta of three times 0.9 ohm, which reads 0.6 when it is good."""
    return diagnose(
        DELTA, PairTable(DELTA), known(zip(LINES, ohms, strict=True), 0.0005), four_wire_below_ohm=math.inf
    )


def test_open_phase_of_a_delta():
    """Three, one and a half, one and a half times the good value."""
    found = of_delta(1.8, 0.9, 0.9)
    assert sentence(found[0]) == "The phase UV has an open circuit."


def test_star_in_place_of_a_delta():
    """Three times the good value on all pairs."""
    found = of_delta(1.8, 1.8, 1.8)
    assert (
        sentence(found[0])
        == "The windings phase UV, phase VW and phase WU are joined as a star, not a delta."
    )


def test_broken_strand_is_one_of_three():
    """Half as much again in one phase of a delta: 0.675, and 0.64 on the other two pairs."""
    circuit = [("U", "V", 1.35), ("V", "W", 0.9), ("W", "U", 0.9)]
    found = of_delta(*(resistance_between(circuit, *pair) for pair in LINES))
    assert sentence(found[0]) == "One of 3 strands of the phase UV is broken."


def test_a_wrong_probe_among_look_alikes_is_supposed_where_it_explains_all():
    """Phase V is 12 % low; V–N was asked for and U–N probed, which nobody could notice."""
    pairs = (*LINES, Pair("U", "N"), Pair("V", "N"), Pair("W", "N"))
    ohms = (0.8386, 0.8386, 0.8914, 0.4510, 0.4510, 0.4510)
    found = explained(QUERN, known(zip(pairs, ohms, strict=True), 0.0003), four_wire_below_ohm=math.inf)
    assert found[0].fault == "shorted_turns"
    assert "of the phase V are shorted" in sentence(found[0])
    assert "when V–N was asked for." in sentence(found[0])


def test_a_unit_of_many_pins_is_diagnosed_without_much_memory():
    """Twelve windings on 24 pins and a core: only measured pairs are reckoned, and the fault is found."""
    pins = [str(number) for number in range(1, 25)]
    windings = tuple(winding(f"w{a}", a, str(int(a) + 1), 10.0 + int(a), 0.05, 500) for a in pins[::2])
    big = replace(
        PLOVER,
        name="Many",
        pins=tuple(Pin(pin) for pin in pins),
        branches=windings,
        steps=tuple(Step(branch.name, Pair(branch.a, branch.b)) for branch in windings),
        isolations=(),
    )
    values = [(Pair(b.a, b.b), b.reference_ohm * (0.7 if b.name == "w7" else 1.0)) for b in windings]
    values.append((Pair("1", "core"), OPEN))
    found = diagnose(big, PairTable(big), known(values, 0.01))
    assert (found[0].fault, "of winding w7 are shorted" in sentence(found[0])) == ("shorted_turns", True)
    book = casebook(big, Purpose.INCOMING, extra=(Pair("1", "core"),))
    moved = [cause.ohm.nbytes for block in book.laws.covariance.blocks for cause in block.causes]
    assert sum(moved) < 20e6


def test_a_wrong_lead_zero_of_a_star_is_told_as_such():
    """Every pair 50 milliohm too high on a bench whose zero is known to 5: no unit 13 K warm."""
    pairs = [Pair(*p) for p in (("U", "V"), ("V", "W"), ("U", "W"), ("U", "N"), ("V", "N"), ("W", "N"))]
    readings = [r._replace(ohm=r.ohm + 0.05) for r in measured(QUERN, pairs)]
    found = diagnose(QUERN, PairTable(QUERN), readings)
    assert found[0].fault == "lead_zero"
    assert found[0].probability > 0.9
    assert found[0].places[0].sizes[0] == pytest.approx(0.05, abs=0.01)
    assert sum(h.probability for h in found if h.fault == "warm") < 0.05


def test_two_ohms_in_a_shared_pin_are_a_joint():
    """R12 + R23 - R13 knows it to 0.04 ohm, though each pair alone is unsure by what all share."""
    pairs = [Pair("1", "2"), Pair("2", "3"), Pair("1", "3")]
    found = diagnose(PLOVER, PairTable(PLOVER), measured(PLOVER, pairs, joints={"2": 2.0}))
    assert (found[0].fault, found[0].places[0].where) == ("bad_joint", ("2",))
    assert found[0].probability > 0.95
    assert found[0].places[0].sizes[0] == pytest.approx(2.0, abs=0.05)
    assert diagnose(PLOVER, PairTable(PLOVER), measured(PLOVER, pairs))[0].fault == "healthy"
