"""What is said of contacts: that one creeps or should be held longer, and what a bench has learnt of them."""

from __future__ import annotations

from acquire.records import Approach, Hindrance, Hold, Settled
from acquire.words.saying import Facts

CREEPS = "the contact creeps: clean the pin or press harder"
IN_DOUBT = "not surely settled, so U is larger; touch longer or more firmly for a smaller one"

_HOLDS = {
    Hold.FIRST_OF_SHIFT: "one of the first contacts of the shift",
    Hold.SAMPLE: "one contact in thirty",
}

_WIDER = 0.05  # a change of the stated uncertainty below this is not worth a word


def hindered(event: Approach) -> str:
    """What keeps a contact from rest, or nothing."""
    return CREEPS if event.hindrance is Hindrance.CREEPS else ""


def held(event: Settled) -> str:
    """A request to hold on, with the reason; that a value is in doubt; or nothing."""
    if event.in_doubt:
        return IN_DOUBT
    if event.hold is None:
        return ""
    return f"hold on for {event.hold_s:.0f} s: the bench learns from {_HOLDS[event.hold]}"


def learnt(facts: Facts) -> str:
    """What a bench has learnt of its contacts, from the facts of the notice."""
    if not facts["contacts"]:
        return "This bench has not learned anything about its contacts yet."
    creep_s, widening = facts["creep_s"], facts["widening"]
    do = f"creep for {creep_s:.1f} s" if creep_s else "do not creep"
    creeps = f"This bench's contacts {do}"
    if abs(widening - 1.0) < _WIDER:
        return f"{creeps}; U is unchanged."
    way = "widened by" if widening > 1.0 else "narrowed to"
    return f"{creeps}; U {way} {widening:.1f}."
