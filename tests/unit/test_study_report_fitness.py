"""What a gauge study means in words."""

import re

import pytest

from acquire.stats.capability import CapabilityLimits
from acquire.stats.gauge import SIGMAS, StudyTrial, gauge_study
from acquire.study.report import Fitness, fitness, interval, verdict_of


def study(repeat=0.1, operator=0.1, mixed=0.0, half=10.0, parts=6, operators=2):
    """A study of parts one ohm apart, by operators half of whom read more."""
    trials = [
        StudyTrial(str(p), who, 100.0 + p + sign * operator + sign * (-1) ** p * mixed + wobble)
        for p in range(parts)
        for who, sign in ((f"op {n}", (-1.0) ** n) for n in range(operators))
        for wobble in (-repeat, 0.0, repeat)
    ]
    limits = None if half is None else CapabilityLimits(102.5 - half, 102.5 + half)
    return gauge_study(trials, limits)


@pytest.mark.parametrize(
    ("half", "word", "begins"),
    [
        (30.0, Fitness.GOOD, "This bench can judge step U-V."),
        (10.0, Fitness.CONDITIONAL, "This bench can judge step U-V with care."),
        (0.5, Fitness.UNFIT, "This bench cannot judge step U-V."),
        (3.0, Fitness.UNTOLD, "This study cannot tell whether the bench can judge step U-V."),
    ],
)
def test_the_whole_interval_of_the_share_decides(half, word, begins):
    """A best estimate of 21 % whose interval reaches beyond 30 % is no "with care"."""
    of = study(half=half, operators=4)
    assert fitness(of) is word
    told = verdict_of(of, "step U-V")
    assert told[0] == begins
    share, low, high = interval(of)
    assert {
        Fitness.GOOD: high < 0.10, Fitness.CONDITIONAL: 0.10 <= high <= 0.30, Fitness.UNFIT: low > 0.30,
        Fitness.UNTOLD: low <= 0.30 < high,
    }[word]  # fmt: skip
    if high <= 1.0:
        assert (
            f"takes {100 * share:.1f} % of the tolerance (95 %: {100 * low:.1f} to {100 * high:.1f} %)"
            in told[1]
        )
    assert "AIAG" in told[1]


def test_an_interval_beyond_the_whole_is_told_in_ohms():
    """Two operators: up to 197 % of the tolerance is no figure; so many ohms of so many are."""
    poor = study(half=3.0)
    told = verdict_of(poor)
    ohms = [float(number) for number in re.findall(r"([\d.]+) Ω", told[1])]
    wide = [SIGMAS * s for s in (poor.gauge.sigma, poor.gauge_low, poor.gauge_high)]
    assert ohms == pytest.approx([*wide, 6.0], rel=0.06)
    assert told[0].startswith("This study cannot tell")
    assert re.fullmatch(
        r"The gauge takes \S+ Ω \(95 %: \S+ Ω to \S+ Ω\) of a tolerance of 6\.00 Ω\. AIAG: .*", told[1]
    )
    assert "A third operator narrows that most." in told


def test_a_share_of_the_spread_is_never_above_all_of_it():
    assert interval(study(repeat=5.0, half=None))[2] <= 1.0


def test_without_a_tolerance_the_spread_of_the_study_decides():
    told = verdict_of(study(half=None))
    assert "of the study's whole spread" in told[1]


def test_the_largest_part_says_where_to_look():
    assert "look at the contacts" in " ".join(verdict_of(study(repeat=0.5, operator=0.0, half=2.0)))
    assert "between operators" in " ".join(verdict_of(study(repeat=0.01, operator=0.5, half=2.0)))
    assert "differ by part" in " ".join(verdict_of(study(repeat=0.01, operator=0.0, mixed=0.5, half=2.0)))


def test_parts_that_cannot_be_told_apart_are_said():
    assert "kinds of parts apart (ndc by analysis of variance" in verdict_of(study(repeat=2.0))[-1]


def test_a_display_too_coarse_is_no_pass():
    of = study(repeat=0.0, operator=0.0)
    assert fitness(of) is Fitness.UNTOLD
    assert verdict_of(of)[0].startswith("This study cannot tell")
