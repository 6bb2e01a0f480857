"""What may be wrong with a unit: faults by name, place and size, and how likely each. Not for finding it."""

from __future__ import annotations

from dataclasses import dataclass

from acquire.records.words import Pair


@dataclass(frozen=True, slots=True)
class FaultPlace:
    """One fault, where it sits and how large it is; all that a sentence about it needs.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        where: windings, pins or words, as the fault has it.
        sizes: a fraction of a winding, ohms or kelvin, as the fault counts them.
        turns: of the first winding, None when not known; strands: wires in hand of it.
        ends: the pin (or the core) at which each winding of `where` begins; empty where none can be touched.
        core: name of the core, empty when the unit has none.
        spool: of another spool, one that the bench has a card of and that reads like it; empty otherwise.
    """

    fault: str
    where: tuple[str, ...] = ()
    sizes: tuple[float, ...] = ()
    turns: int | None = None
    strands: int = 1
    ends: tuple[str, ...] = ()
    core: str = ""
    spool: str = ""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One explanation of all readings of a unit.

    Attributes:
        fault: short name from the fault dictionary, e.g. "shorted_turns".
        probability: given the readings, 0 to 1.
        places: the faults that make it up, one or two.
        slip: (pair asked for, pair really probed) where the explanation needs one unnoticed wrong probe.
        said: the sentence of an old record, which has nothing else of it; empty of any other.
    """

    fault: str
    probability: float
    places: tuple[FaultPlace, ...] = ()
    slip: tuple[Pair, Pair] | None = None
    said: str = ""
