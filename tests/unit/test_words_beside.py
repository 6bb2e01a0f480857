"""Every reason of a typed result and every sign of the check standard has a sentence that tells its facts."""

from dataclasses import replace

import pytest

from acquire.records import Outcome, ResultKind, Sign, TypedWhy
from acquire.words.beside import check_text, typed_answer, typed_reason
from tests.known_records import CHECK, TYPED

REASONS = {
    TypedWhy.LIMITS: (
        {},
        "32.0 MΩ is 27.0 MΩ above the lower limit of 5.0 MΩ; U = 1.5 MΩ, guard band 1.5 MΩ.",
    ),
    TypedWhy.SHORT: ({}, "a short: 0 Ω."),
    TypedWhy.NO_ACCURACY: ({}, "the instrument's accuracy was not stated; add it, such as accuracy 5 %."),
    TypedWhy.LOW_VOLTS: ({"test_volt": 9.0}, "measured at 9 V only, 500 V are asked for."),
    TypedWhy.NO_LIMITS: ({}, "recorded; the sheet sets no limits for it."),
    TypedWhy.NO_PATTERN: ({}, "recorded, not judged: no sister coil or golden unit was named."),
    TypedWhy.STATED: ({"words": "no difference seen"}, "no difference seen"),
    TypedWhy.RECORDED: ({"words": "opposing"}, "opposing; recorded, not judged."),
}


@pytest.mark.parametrize("why", TypedWhy)
def test_every_reason_of_a_typed_result_is_said(why):
    """With all facts that it rests on."""
    facts, words = REASONS[why]
    assert typed_reason(replace(TYPED, why=why, **facts)) == words


def test_more_than_is_said_with_what_is_sure():
    """The instrument's own accuracy is taken off: 32 Mohm less 5 %."""
    shown = replace(TYPED, at_least=True)
    assert typed_reason(shown) == "more than 30.4 MΩ, of which 5.00 MΩ are asked for."
    short = replace(shown, lower_si=50e6, outcome=Outcome.CANNOT_JUDGE)
    assert typed_reason(short) == (
        "more than 30.4 MΩ is all the instrument says; 50.0 MΩ are asked for. Use a higher range."
    )


def test_a_coil_beside_its_pattern_is_said_in_its_own_unit():
    """With how far it lies off, and off what."""
    coil = replace(
        TYPED,
        result_kind=ResultKind.INDUCTANCE,
        value_si=0.9,
        unit="H",
        reference_si=None,
        pattern="golden unit",
        pattern_si=1.0,
        deviation=-0.1,
        lower_si=0.95,
        outcome=Outcome.FAIL,
        expanded_si=0.01,
        guard_band_si=0.0,
    )
    assert typed_reason(coil) == (
        "-10 % from golden unit: 900 mH is 50 mH below the lower limit of 950 mH; U = 10 mH."
    )


def test_what_could_not_be_judged_says_what_that_means_for_the_unit():
    """Whoever typed it hears why, that the unit cannot pass, and what to do; all others hear the reason."""
    doubtful = replace(TYPED, outcome=Outcome.CANNOT_JUDGE, test_volt=9.0, why=TypedWhy.LOW_VOLTS)
    assert typed_answer(doubtful) == (
        f"This could not be judged, so {TYPED.serial} cannot pass until it is measured or typed again: "
        "measured at 9 V only, 500 V are asked for."
    )
    for outcome in (*{*Outcome} - {Outcome.CANNOT_JUDGE}, None):
        other = replace(doubtful, outcome=outcome)
        assert typed_answer(other) == typed_reason(other)


SIGNS = {
    Sign.OFF_CERTIFICATE: (
        "reads +0.06 Ω off its certificate; 0.02828 Ω are allowed. "
        "Zero the leads, clean the probes and measure it again."
    ),
    Sign.BEYOND_LIMITS: "reads 100.06 Ω, outside its own limits 99.98 to 100.02 Ω.",
    Sign.JUMP: "has jumped by 0.05 Ω since it was last measured; 0.03 Ω are its limit.",
    Sign.RUN: "has read above its mean 9 times in a row: something drifts.",
    Sign.TREND: (
        "drifts by +0.0005 Ω a reading over the last 12: "
        "compare it with another resistor to see which of the two it is."
    ),
}


@pytest.mark.parametrize("sign", Sign)
def test_every_sign_of_the_check_standard_is_said(sign):
    """By the resistor's name, with the numbers that speak against the bench."""
    check = replace(
        CHECK,
        reading_ohm=100.06,
        signs=(sign,),
        in_control=False,
        centre_ohm=100.0,
        lower_ohm=99.98,
        upper_ohm=100.02,
        moving_range_upper_ohm=0.03,
        before_ohm=100.01,
        slope_ohm=0.0005,
        slope_points=12,
    )
    assert check_text(check) == f"Check standard R1 {SIGNS[sign]}"


def test_a_bench_in_control_has_nothing_said_against_it():
    """No sign, no sentence."""
    assert check_text(CHECK) == ""
