"""One plain sentence for each fault, with its physical size. Not for probabilities."""

from __future__ import annotations

import math

from acquire.records import Branch, Sheet
from acquire.verdict.dictionary import Case


def sentence(case: Case, size: float, sheet: Sheet) -> str:
    """What a fault is, where it sits and how large it is.

    Args:
        case: the fault and its place.
        size: as its circuits count it: a fraction of a winding, ohms or kelvin; ignored where it has none.
        sheet: for numbers of turns.
    """
    place = " and ".join(case.where)
    branches = {branch.name: branch for branch in sheet.branches}
    branch = branches.get(case.where[0]) if case.where else None
    by_fault = {
        "healthy": "All readings are those of a good unit.",
        "warm": f"The unit is about {_number(size)} K warmer than the thermometer says.",
        "cold": f"The unit is about {_number(size)} K colder than the thermometer says.",
        "lead_zero": f"Every reading is about {_ohm(size)} too {place}: measure the lead zero again.",
        "open_winding": f"The {place} is broken: no path through it.",
        "open_pin": f"Pin {place} or its lead is broken.",
        "shorted_turns": f"{_turns(size, branch)} of the {place} are shorted.",
        "too_few_turns": f"The {place} has {_turns(size, branch).lower()} too few.",
        "too_many_turns": f"The {place} has {_turns(size, branch).lower()} too many, or stretched wire.",
        "wire_too_thin": f"The {place} is wound with wire too thin by about {_steps(size, 0.261)}.",
        "wire_too_thick": f"The {place} is wound with wire too thick by about {_steps(size, 0.207)}.",
        "strand_broken": f"One of {branch.strands if branch else 2} strands of the {place} is broken.",
        "bad_joint": f"About {_ohm(size)} too much in pin {place} or its lead: a bad joint.",
        "swapped_pins": f"Pins {place} are in each other's place in the connector.",
        "unknown": "No single fault explains these readings.",
    }
    return by_fault[case.fault]


def _turns(fraction: float, branch: Branch | None) -> str:
    """As "About 60 of 1020 turns", or as a share where the sheet has no number of turns."""
    fraction = min(max(fraction, 0.0), 1.0)
    if branch is None or not branch.turns:
        return f"About {_number(100.0 * fraction)} % of the turns"
    return f"About {max(1, round(fraction * branch.turns))} of {branch.turns} turns"


def _steps(fraction: float, whole: float) -> str:
    return "half a gauge" if fraction < 0.7 * whole else "one gauge"


def _ohm(ohm: float) -> str:
    if abs(ohm) < 1.0:
        return f"{_number(1000.0 * abs(ohm))} mΩ"
    return f"{_number(abs(ohm))} Ω"


def _number(value: float) -> str:
    """Two significant digits, without an exponent."""
    if value == 0.0:
        return "0"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(0, digits)}f}"
