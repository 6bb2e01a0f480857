"""The lead zero, taken from probes held together in a step of its own. Subtracting it is physics/leads."""

from __future__ import annotations

import math

from acquire.physics.leads import CONTACT_OHM, moved
from acquire.records import Circumstances, Code, LeadZero, Notice, Settled, Weight
from acquire.steps.setup_choice import Wanted
from drivers.reading import Quantity

LEAD_LIMIT_OHM = 2.0
"""Probes held together read less than this through sound leads (0.2 to 0.5 ohm, to be replaced above 1 ohm);
common practice, no source."""

LEADS = Wanted(Quantity.RESISTANCE, LEAD_LIMIT_OHM, close_enough_ohm=CONTACT_OHM / 2)
"""How the meter is set for it."""


def take_zero(
    settled: Settled, before: LeadZero | None, place: Circumstances
) -> tuple[LeadZero | None, tuple[Notice, ...]]:
    """Make a lead zero of a settled value.

    Args:
        settled: with the probes held together.
        before: the zero that held until now.
        place: the bench.

    Returns:
        (zero, notices). No zero where the value cannot be that of leads. Where the zero has moved by more
        than half of what the old one allowed (95 %), low-ohm verdicts since are marked as doubtful.
    """
    value = settled.value_si
    if not -CONTACT_OHM * 10 <= value < LEAD_LIMIT_OHM:
        return None, (Notice(Weight.WARNING, Code.LEADS_IMPLAUSIBLE, settled.utc_s, facts={"ohm": value}),)
    u_ohm = math.hypot(settled.standard_uncertainty_si, CONTACT_OHM)
    zero = LeadZero(place.bench, settled.meter_id, value, u_ohm, settled.utc_s)
    if before is None or not moved(before, zero, 2.0 * math.hypot(before.standard_uncertainty_ohm, u_ohm)):
        return zero, ()
    zero = LeadZero(
        place.bench, settled.meter_id, value, u_ohm, settled.utc_s, doubtful_since_utc_s=before.utc_s
    )
    facts = {"before_ohm": before.value_ohm, "ohm": value}
    return zero, (Notice(Weight.WARNING, Code.LEADS_MOVED, settled.utc_s, facts=facts),)
