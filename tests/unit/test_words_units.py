"""How a unit ended, in words; each from codes, none from words."""

from dataclasses import replace

from acquire.records import (
    BalanceFound,
    Ending,
    Finding,
    FindingKind,
    Hypothesis,
    Outcome,
    Untested,
    UntestedKind,
)
from acquire.records.bench import ClosureFound, UnitTemperature
from acquire.records.codes import ClosureKind
from acquire.words.units import (
    ENDINGS,
    TURN_FAULTS,
    cause_of,
    findings_words,
    missing_words,
    reason_of,
    result_words,
    why_not,
)
from tests.known_records import RESULT
from tests.known_visits import INSULATION, TURNS


def test_every_ending_has_its_words():
    assert set(ENDINGS) == set(Ending)
    warm = replace(RESULT, outcome=None, ending=Ending.WARM)
    assert (result_words(warm), why_not(warm)) == ("held: the unit is warm", "the unit is warm")
    cold = replace(warm, temperature=UnitTemperature(-12.0, -10.0, -8.0, 0.5, 1.0, True, None))
    assert (result_words(cold), why_not(cold)) == ("held: the unit is cold", "the unit is cold")
    given_up = replace(RESULT, outcome=None, ending=Ending.EARLY, remark="lunch")
    assert result_words(given_up) == reason_of(given_up) == "ended early: lunch"
    assert (result_words(RESULT), why_not(RESULT)) == ("FAIL", "")


def test_every_finding_is_a_sentence():
    rule = BalanceFound("phases", ("U", "V"), (1.0, 1.1), 0.05, 0.001, 0.02, "V", Outcome.FAIL)
    found = (
        Finding(FindingKind.UNEVEN, "phases", outcome=Outcome.FAIL),
        Finding(FindingKind.TYPED, "surge", "step:surge", Outcome.FAIL),
        Finding(FindingKind.TYPED, "ring", "step:ring"),
        Finding(FindingKind.FIRST_UNIT, "lot 7"),
        Finding(FindingKind.CONTRADICTION),
        Finding(FindingKind.STEP, "trigger", outcome=Outcome.CONDITIONAL_PASS, ohm=0.2, expanded_ohm=0.31),
        Finding(FindingKind.STEP, "trigger", outcome=Outcome.CONDITIONAL_FAIL, ohm=-0.2, expanded_ohm=0.31),
        Finding(FindingKind.STEP, "P1", outcome=Outcome.CANNOT_JUDGE, ohm=0.2, expanded_ohm=0.31),
        Finding(FindingKind.STEP, "earth", outcome=Outcome.FAIL),
        Finding(FindingKind.STEP, "earth"),
    )
    said = findings_words(replace(RESULT, found=found, balances=(rule,)))
    assert said[0].startswith("V is 5 % above the mean of phases")
    assert said[1:3] == ("surge: FAIL.", "ring: did not pass.")
    assert "lot 7 is in doubt" in said[3]
    assert said[5:] == (
        "Trigger lies 0.2 Ω within its limit; U = 0.31 Ω with the unit's temperature.",
        "Trigger lies 0.2 Ω beyond its limit; U = 0.31 Ω with the unit's temperature.",
        "P1 cannot be judged: U = 0.31 Ω with the unit's temperature, tolerance 0.2 Ω.",
        "Earth: FAIL.",
        "Earth was skipped.",
    )
    assert all(each.endswith((".", "?")) for each in said)


def test_no_finding_is_hidden_by_the_sentence_that_nothing_is_wrong():
    """A joint near its limit makes a pass conditional: not "no fault stands out", but how near."""
    joint = ClosureFound(
        ClosureKind.JOINT,
        "2",
        0.12,
        0.25,
        None,
        0.3,
        Outcome.CONDITIONAL_PASS,
        0.92,
        contradicts=False,
        pairs=(),
    )
    near = replace(
        RESULT,
        outcome=Outcome.CONDITIONAL_PASS,
        hypotheses=(Hypothesis("healthy", 0.84),),
        closures=(joint,),
        found=(Finding(FindingKind.CLOSURE, "2", outcome=Outcome.CONDITIONAL_PASS),),
    )
    assert cause_of(near) == "joint at pin 2: 0.12 Ω ± 0.25 Ω, limit 0.3 Ω."
    faulty = replace(near, hypotheses=RESULT.hypotheses)
    assert cause_of(faulty) == "About 60 of 1020 turns of the fast charge are shorted (93 % sure)."
    step = Finding(FindingKind.STEP, "trigger", outcome=Outcome.CONDITIONAL_FAIL, ohm=-0.2, expanded_ohm=0.31)
    assert (
        cause_of(replace(faulty, found=(step,)))
        == f"{findings_words(replace(near, found=(step,)))[0]} {cause_of(faulty)}"
    )


def test_what_was_not_tested_is_a_line_each():
    apart = Untested(UntestedKind.CIRCUIT, "isolation:1|2", "isolation of 1 from 2")
    assert missing_words(replace(RESULT, untested=(INSULATION, TURNS, apart))) == (
        "not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V",
        TURN_FAULTS,
        "not tested: isolation of 1 from 2",
    )
