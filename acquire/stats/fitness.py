"""What a gauge study means for the bench: can it judge this step, and if not, where to look.

Not for the numbers (`gauge`), and not for whether the meter's accuracy suffices (`verdict.fitness`).
"""

from __future__ import annotations

import math
from enum import StrEnum

from acquire.quantity import show
from acquire.stats.crossed import VarianceSource
from acquire.stats.gauge import SIGMAS, GaugeStudy

ENOUGH_DISTINCT = 5
"""Kinds of parts that should be told apart (AIAG, Measurement Systems Analysis, 4th ed.)."""

ENOUGH_OPERATORS = 3
"""Two tell next to nothing of how much operators differ: one degree of freedom."""

GOOD_BELOW, CONDITIONAL_UP_TO = 0.10, 0.30
"""Gauge over tolerance: below a tenth good, up to three tenths conditional (AIAG, likewise)."""


class Fitness(StrEnum):
    """Whether a bench can judge a step, by the gauge's part of the tolerance."""

    GOOD = "good"
    CONDITIONAL = "conditional"
    UNFIT = "unfit"
    UNTOLD = "cannot tell"


def interval(study: GaugeStudy) -> tuple[float, float, float]:
    """The gauge's share, and the ends of its 95 % interval; of the tolerance where the sheet has limits.

    Else of the study's whole spread, which the gauge is a part of: such a share is never above 1.
    """
    gauge, part = study.gauge, study.components[VarianceSource.PART]
    sigmas = (gauge.sigma, study.gauge_low, study.gauge_high)
    if gauge.tolerance is not None and gauge.sigma > 0.0:
        share, low, high = (sigma * gauge.tolerance / gauge.sigma for sigma in sigmas)
    else:
        share, low, high = (sigma and sigma / math.hypot(sigma, part.sigma) for sigma in sigmas)
    return share, low, high


def fitness(study: GaugeStudy) -> Fitness:
    """Good below 10 %, conditional to 30 %, unfit above (AIAG, Measurement Systems Analysis, 4th ed.).

    What is said must hold for the whole interval of the share, not for its best estimate alone: where that
    reaches from one side of 30 % to the other, nothing can be told. Nor can it where all repeats read alike:
    such a gauge has hidden its spread behind its display.
    """
    _, low, high = interval(study)
    if study.gauge.sigma <= 0.0:
        return Fitness.UNTOLD
    if high <= CONDITIONAL_UP_TO:
        return Fitness.GOOD if high < GOOD_BELOW else Fitness.CONDITIONAL
    return Fitness.UNFIT if low > CONDITIONAL_UP_TO else Fitness.UNTOLD


def verdict_of(study: GaugeStudy, step: str = "this step") -> tuple[str, ...]:
    """Whether this bench can judge the step, what the share is, and what to do, a sentence each."""
    word = fitness(study)
    can = {
        Fitness.GOOD: f"This bench can judge {step}.",
        Fitness.CONDITIONAL: f"This bench can judge {step} with care.",
        Fitness.UNFIT: f"This bench cannot judge {step}.",
        Fitness.UNTOLD: f"This study cannot tell whether the bench can judge {step}.",
    }[word]
    if study.gauge.sigma <= 0.0:
        return can, "All repeats read alike: the display is too coarse for a study, or it was held."
    told = [can, f"{_how_much(study)} AIAG: to 10 % good, to 30 % conditional."]
    if word is Fitness.UNTOLD:
        few = 1 < len(study.operators) < ENOUGH_OPERATORS
        told.append(f"{'A third operator narrows' if few else 'More parts or rounds narrow'} that most.")
    if interval(study)[0] >= GOOD_BELOW:
        told.append(_what_to_do(study))
    if study.distinct is not None and study.distinct < ENOUGH_DISTINCT:
        told.append(
            f"Number of distinct categories: {study.distinct} (ndc by {study.method.value}); "
            f"{ENOUGH_DISTINCT} are wanted for charts and capability. Parts that are much alike lower it too."
        )
    return tuple(told)


def _how_much(study: GaugeStudy) -> str:
    """The share with its interval; in ohms where that reaches beyond the whole."""
    share, low, high = interval(study)
    whole = "the study's whole spread" if study.gauge.tolerance is None else "the tolerance"
    known = study.gauge_high > study.gauge.sigma * 1.0001
    if high <= 1.0 or not known:
        sure = f" (95 %: {100.0 * low:.1f} to {100.0 * high:.1f} %)" if known else ""
        return f"The gauge takes {100.0 * share:.1f} % of {whole}{sure}."
    sigma, *ends = (
        show(SIGMAS * s, "Ω", digits=2) for s in (study.gauge.sigma, study.gauge_low, study.gauge_high)
    )
    tolerance = show(SIGMAS * study.gauge.sigma / share, "Ω", digits=3)
    return f"The gauge takes {sigma} (95 %: {' to '.join(ends)}) of a tolerance of {tolerance}."


def _what_to_do(study: GaugeStudy) -> str:
    components = study.components
    reproduce = components.get(VarianceSource.REPRODUCIBILITY)
    if reproduce is None or components[VarianceSource.REPEATABILITY].variance >= reproduce.variance:
        return (
            "Most of it is repeatability: look at the contacts, the lead zero, a finer range, 4 wires, "
            "or the temperature between trials."
        )
    mixed = components.get(VarianceSource.INTERACTION)
    if mixed is not None and mixed.variance > components[VarianceSource.OPERATOR].variance:
        return "Most of it is operators who differ by part: agree where and how each part is touched."
    return (
        "Most of it is between operators: agree how to hold the probes and zero the leads, and practise it."
    )
