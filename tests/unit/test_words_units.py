"""How a unit ended, in words; each from codes, none from words."""

from dataclasses import replace

from acquire.records import BalanceFound, Ending, Finding, FindingKind, Outcome, Untested, UntestedKind
from acquire.words.units import (
    ENDINGS,
    TURN_FAULTS,
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
    given_up = replace(RESULT, outcome=None, ending=Ending.GIVEN_UP, remark="lunch")
    assert result_words(given_up) == reason_of(given_up) == "given up: lunch"
    assert (result_words(RESULT), why_not(RESULT)) == ("FAIL", "")


def test_every_finding_is_a_sentence():
    rule = BalanceFound("phases", ("U", "V"), (1.0, 1.1), 0.05, 0.001, 0.02, "V", Outcome.FAIL)
    found = (
        Finding(FindingKind.UNEVEN, "phases", outcome=Outcome.FAIL),
        Finding(FindingKind.TYPED, "surge", "step:surge", Outcome.FAIL),
        Finding(FindingKind.TYPED, "ring", "step:ring"),
        Finding(FindingKind.FIRST_UNIT, "lot 7"),
        Finding(FindingKind.CONTRADICTION),
    )
    said = findings_words(replace(RESULT, found=found, balances=(rule,)))
    assert said[0].startswith("V is 5 % above the mean of phases")
    assert said[1:3] == ("surge: FAIL.", "ring: did not pass.")
    assert "lot 7 is in doubt" in said[3]
    assert len(said) == 5
    assert all(each.endswith((".", "?")) for each in said)


def test_what_was_not_tested_is_a_line_each():
    apart = Untested(UntestedKind.CIRCUIT, "isolation:1|2", "isolation of 1 from 2")
    assert missing_words(replace(RESULT, untested=(INSULATION, TURNS, apart))) == (
        "not tested: insulation 1,2,3 to CORE,4,5,6 at 500 V",
        TURN_FAULTS,
        "not tested: isolation of 1 from 2",
    )
