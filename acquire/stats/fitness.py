"""What a gauge study means for the bench: can it judge this step, and if not, where to look.

Not for the numbers (`gauge`), and not for whether the meter's accuracy suffices (`verdict.fitness`).
"""

from __future__ import annotations

from enum import StrEnum

from acquire.stats.crossed import Source
from acquire.stats.gauge import GaugeStudy

ENOUGH_DISTINCT = 5
"""Kinds of parts that should be told apart (AIAG, Measurement Systems Analysis, 4th ed.)."""

GOOD_BELOW, CONDITIONAL_UP_TO = 0.10, 0.30
"""Gauge over tolerance: below a tenth good, up to three tenths conditional (AIAG, likewise)."""


class Fitness(StrEnum):
    """Whether a bench can judge a step, by the gauge's part of the tolerance."""

    GOOD = "good"
    CONDITIONAL = "conditional"
    UNFIT = "unfit"
    UNTOLD = "cannot tell"


def fitness(study: GaugeStudy) -> Fitness:
    """Good below 10 %, conditional to 30 %, unfit above (AIAG, Measurement Systems Analysis, 4th ed.).

    Of the tolerance where the sheet has limits, else of the study's whole spread. A gauge whose repeats all
    read alike has hidden its spread behind its display: nothing can be told.
    """
    if study.gauge.sigma <= 0.0:
        return Fitness.UNTOLD
    share = study.gauge.study if study.gauge.tolerance is None else study.gauge.tolerance
    if share < GOOD_BELOW:
        return Fitness.GOOD
    return Fitness.CONDITIONAL if share <= CONDITIONAL_UP_TO else Fitness.UNFIT


def verdict_of(study: GaugeStudy, step: str = "this step") -> tuple[str, ...]:
    """Whether this bench can judge the step, what the share is, and what to do, a sentence each."""
    word, gauge = fitness(study), study.gauge
    can = {
        Fitness.GOOD: f"This bench can judge {step}.",
        Fitness.CONDITIONAL: f"This bench can judge {step} with care.",
        Fitness.UNFIT: f"This bench cannot judge {step}.",
        Fitness.UNTOLD: f"This study cannot tell whether the bench can judge {step}.",
    }[word]
    if word is Fitness.UNTOLD:
        return can, "All repeats read alike: the display is too coarse for a study, or it was held."
    of_what = "the study's whole spread" if gauge.tolerance is None else "the tolerance"
    share = gauge.study if gauge.tolerance is None else gauge.tolerance
    high = share * study.gauge_high / gauge.sigma
    sure = "" if high <= share * 1.0001 else f" (it may truly be as much as {100.0 * high:.0f} %)"
    told = [
        can,
        f"The gauge takes {100.0 * share:.1f} % of {of_what}{sure}. AIAG: to 10 % good, to 30 % conditional.",
    ]
    if word is not Fitness.GOOD:
        told.append(_what_to_do(study))
    if study.distinct is not None and study.distinct < ENOUGH_DISTINCT:
        told.append(
            f"It tells {study.distinct} kinds of parts apart (ndc by {study.method.value}); "
            f"{ENOUGH_DISTINCT} are wanted for charts and capability. Parts that are much alike lower it too."
        )
    return tuple(told)


def _what_to_do(study: GaugeStudy) -> str:
    components = study.components
    reproduce = components.get(Source.REPRODUCIBILITY)
    if reproduce is None or components[Source.REPEATABILITY].variance >= reproduce.variance:
        return (
            "Most of it is repeatability: look at the contacts, the lead zero, a finer range, 4 wires, "
            "or the temperature between trials."
        )
    mixed = components.get(Source.INTERACTION)
    if mixed is not None and mixed.variance > components[Source.OPERATOR].variance:
        return "Most of it is operators who differ by part: agree where and how each part is touched."
    return (
        "Most of it is between operators: agree how to hold the probes and zero the leads, and practise it."
    )
