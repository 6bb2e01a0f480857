"""What a gauge study means in words."""

import pytest

from acquire.stats.capability import Limits
from acquire.stats.crossed import Trial
from acquire.stats.fitness import Fitness, fitness, verdict_of
from acquire.stats.gauge import gauge_study


def study(repeat=0.1, operator=0.1, mixed=0.0, half=10.0, parts=6):
    """A study by two operators of parts one ohm apart."""
    trials = [
        Trial(str(p), who, 100.0 + p + sign * operator + sign * (-1) ** p * mixed + wobble)
        for p in range(parts)
        for who, sign in (("ann", 1.0), ("bo", -1.0))
        for wobble in (-repeat, 0.0, repeat)
    ]
    limits = None if half is None else Limits(102.5 - half, 102.5 + half)
    return gauge_study(trials, limits)


@pytest.mark.parametrize(
    ("half", "word", "begins"),
    [
        (10.0, Fitness.GOOD, "This bench can judge step U-V."),
        (3.0, Fitness.CONDITIONAL, "This bench can judge step U-V with care."),
        (0.5, Fitness.UNFIT, "This bench cannot judge step U-V."),
    ],
)
def test_the_share_of_the_tolerance_decides(half, word, begins):
    of = study(half=half)
    assert fitness(of) is word
    told = verdict_of(of, "step U-V")
    assert told[0] == begins
    assert f"The gauge takes {100 * of.gauge.tolerance:.1f} % of the tolerance" in told[1]
    assert "AIAG" in told[1]


def test_without_a_tolerance_the_spread_of_the_study_decides():
    told = verdict_of(study(half=None))
    assert "of the study's whole spread" in told[1]


def test_few_operators_make_the_share_unsure_and_that_is_said():
    assert "it may truly be as much as" in verdict_of(study())[1]


def test_the_largest_part_says_where_to_look():
    assert "look at the contacts" in verdict_of(study(repeat=0.5, operator=0.0, half=2.0))[2]
    assert "between operators" in verdict_of(study(repeat=0.01, operator=0.5, half=2.0))[2]
    assert "differ by part" in verdict_of(study(repeat=0.01, operator=0.0, mixed=0.5, half=2.0))[2]


def test_parts_that_cannot_be_told_apart_are_said():
    assert "kinds of parts apart (ndc by analysis of variance" in verdict_of(study(repeat=2.0))[-1]


def test_a_display_too_coarse_is_no_pass():
    of = study(repeat=0.0, operator=0.0)
    assert fitness(of) is Fitness.UNTOLD
    assert verdict_of(of)[0].startswith("This study cannot tell")
