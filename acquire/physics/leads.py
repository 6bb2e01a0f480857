"""The lead zero: what two-wire readings are reduced by, how well it is known, and whether it still holds.

Not for taking the zero (that is a step of its own, so that shorted probes are never mistaken for a winding of
0.3 ohm), and not for four-wire readings, which have no leads to subtract.
"""

from __future__ import annotations

import math

from acquire.physics.checks import at_least_zero, finite
from acquire.records.bench import LeadZero

GROWTH_OHM_PER_HOUR = 0.002
"""Standard uncertainty that a lead zero gains per hour, ohms. Workshop choice: 0.2 ohm of copper lead changes
by 8 milliohm in 10 K, which a shop takes some hours to do, and tips tarnish."""

NEVER_ZEROED_OHM = 0.5
"""Half-width of what the leads may add while no zero was taken, ohms: the upper end of ordinary test leads
(0.2 to 0.5 ohm; makers advise to replace them above 1 ohm). Common practice."""

LEAD_LIMIT_OHM = 2.0
"""Probes held together read less than this through sound leads (0.2 to 0.5 ohm, to be replaced above 1 ohm);
common practice, no source."""

CONTACT_OHM = 0.01
"""Standard uncertainty of how clean probes repeat a contact, ohms. Zeros repeat to about 0.02 ohm with clean
tips (from memory), taken as a 95 % figure."""

SECONDS_PER_HOUR = 3600.0


def subtract(raw_ohm: float, zero: LeadZero | None) -> float:
    """The resistance without its leads; unchanged where no zero was taken.

    Nothing is guessed for leads that were never measured: their part stays in, and
    `uncertainty_ohm` says how much it may be.

    Raises:
        InputImpossible: the reading is no finite number.
    """
    finite(raw_ohm, "the reading in ohms")
    return raw_ohm if zero is None else raw_ohm - zero.value_ohm


def age_s(zero: LeadZero, now_utc_s: float) -> float:
    """Seconds since the zero was taken; 0 when the clock was set back since."""
    return max(0.0, now_utc_s - zero.utc_s)


def uncertainty_ohm(zero: LeadZero | None, now_utc_s: float) -> float:
    """Standard uncertainty of the lead zero now, ohms.

    It grows with age as a root sum of squares of the spread when it was taken and of the hours since times
    the growth, and never beyond that of leads never zeroed (a rectangular law of half-width
    `NEVER_ZEROED_OHM`, JCGM 100:2008, 4.3.7).

    Args:
        zero: None where no zero was taken.
        now_utc_s: UTC of the reading it is used for, seconds.

    Raises:
        InputImpossible: a negative or missing uncertainty or growth.
    """
    never = NEVER_ZEROED_OHM / math.sqrt(3.0)
    if zero is None:
        return never
    at_least_zero(zero.standard_uncertainty_ohm, "the uncertainty of the lead zero in ohms")
    grown = GROWTH_OHM_PER_HOUR * age_s(zero, now_utc_s) / SECONDS_PER_HOUR
    now = math.hypot(zero.standard_uncertainty_ohm, grown)
    return max(zero.standard_uncertainty_ohm, min(now, never))


def moved(zero_before: LeadZero, zero_after: LeadZero, expanded_ohm: float) -> bool:
    """Whether the zero has moved so far that low-ohm verdicts since are doubtful.

    It has when the two zeros differ by more than half of `expanded_ohm` (workshop choice: half the
    uncertainty that a verdict was given with is what an unseen shift may use up).

    Args:
        zero_before: the zero the verdicts rest on.
        zero_after: the one taken at the end of the unit or shift.
        expanded_ohm: expanded uncertainty of the verdicts in question, ohms, >= 0.

    Raises:
        InputImpossible: the uncertainty is negative or missing.
    """
    at_least_zero(expanded_ohm, "the expanded uncertainty in ohms")
    return abs(zero_after.value_ohm - zero_before.value_ohm) > expanded_ohm / 2.0
