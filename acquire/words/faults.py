"""One plain sentence for each fault, with its physical size, and what speaks against a first unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from acquire.quantity import show
from acquire.records import Batch, Compared, FaultPlace, Hypothesis
from acquire.words.saying import capital, is_code, joined, number, sureness, within


def sentence(hypothesis: Hypothesis) -> str:
    """What a fault is, where it sits and how large it is; two sentences for two faults."""
    if hypothesis.said:
        return hypothesis.said
    said = [_place(place) for place in hypothesis.places] or [_bare(hypothesis.fault)]
    words = said[0] if len(said) == 1 else f"Two faults. {' '.join(said)}"
    if hypothesis.slip is None:
        return words
    asked, probed = hypothesis.slip
    return f"{words} That supposes that the probes were on {probed} when {asked} was asked for."


def likely(hypothesis: Hypothesis) -> str:
    """The sentence with how sure it is."""
    return f"{sentence(hypothesis).rstrip('.')} ({sureness(hypothesis.probability)} sure)."


def batch_doubt(batch: Batch) -> str:
    """What speaks against a first unit: what may be wrong, and the reading that lies furthest off."""
    if batch.first_doubt is None:
        return ""
    if batch.first_doubt.said:
        return batch.first_doubt.said
    may_be = " Or: ".join(likely(each) for each in batch.first_doubt.hypotheses)
    return f"{may_be or 'Spool, gauge or turns are not as planned.'} {compared(batch.compared)}"


def compared(seen: Compared | None) -> str:
    """The reading of a first unit that lies furthest off what was predicted."""
    if seen is None:
        return "Nothing was measured that could be compared."
    per_cent = 100.0 * (seen.ohm / seen.predicted_ohm - 1.0)
    predicted = show(seen.predicted_ohm, "Ω", seen.reach_ohm)
    return f"{seen.pair} reads {show(seen.ohm, 'Ω')}, predicted was {predicted}: {per_cent:+.1f} %."


def _place(place: FaultPlace) -> str:
    """The name alone of a fault that an older record gives without a place, or a newer program knows."""
    told = place.where or place.sizes or place.fault in PLACELESS
    say = SENTENCES.get(place.fault) if told else None
    return say(_Told(place)) if say else _bare(place.fault)


def _bare(fault: str) -> str:
    return f"{capital(fault.replace('_', ' '))}."


PLACELESS = frozenset({"healthy", "unknown"})
"""Explanations that need neither a place nor a size."""


@dataclass(frozen=True, slots=True)
class _Told:
    """A fault's place and size, ready to be put into words."""

    place: FaultPlace

    @property
    def where(self) -> tuple[str, ...]:
        return self.place.where

    @property
    def sizes(self) -> tuple[float, ...]:
        return self.place.sizes

    @property
    def size(self) -> float:
        return self.sizes[0]

    @property
    def who(self) -> str:
        """The windings as a sentence begins: "The trigger", "P1"."""
        return capital(joined(each if is_code(each) else f"the {each}" for each in self.where))

    @property
    def whose(self) -> str:
        """The windings within a sentence: "the trigger", "winding P1"."""
        return joined(within(each) for each in self.where)

    @property
    def contact(self) -> str:
        """A pin and its lead, or the core and its clip."""
        pin = self.where[0]
        return "the core or its clip" if pin == self.place.core else f"pin {pin} or its lead"

    @property
    def turns(self) -> str:
        """As "about 60 of 1020 turns", or as a share where the sheet has no number of turns."""
        fraction = min(max(self.size, 0.0), 1.0)
        if not self.place.turns:
            return f"about {number(100.0 * fraction)} % of the turns"
        return f"about {max(1, round(fraction * self.place.turns))} of {self.place.turns} turns"

    def along(self, index: int, fraction: float) -> str:
        """A place along a winding, from the pin at its first end."""
        end = self.place.ends[index] if index < len(self.place.ends) else ""
        from_pin = f" from {'the ' if end == self.place.core else 'pin '}{end}" if end else ""
        return f"about {number(100.0 * min(max(fraction, 0.0), 1.0))} % along{from_pin}"


def _star_delta(told: _Told) -> str:
    instead = {"delta": "a delta, not a star", "star": "a star, not a delta"}[told.where[-1]]
    return f"The windings {joined(told.where[:-1])} are joined as {instead}."


def _spool(told: _Told) -> str:
    like = f"spool {told.place.spool}" if told.place.spool else "another spool"
    more = f"{number(abs(100.0 * told.size))} % {'more' if told.size > 0.0 else 'fewer'} ohms per metre"
    return f"{told.who} {'reads' if len(told.where) == 1 else 'read'} like {like}, with {more}."


def _gauge(told: _Told, word: str, whole: float) -> str:
    steps = "half a gauge" if told.size < 0.7 * whole else "one gauge"
    verb = "is" if len(told.where) == 1 else "are"
    return f"{told.who} {verb} wound with wire too {word} by about {steps}."


SENTENCES: Mapping[str, Callable[[_Told], str]] = {
    "healthy": lambda _: "No fault stands out: the readings are within the spread of good units.",
    "warm": lambda p: f"The unit is about {number(p.size)} K warmer than the thermometer says.",
    "cold": lambda p: f"The unit is about {number(p.size)} K colder than the thermometer says.",
    "lead_zero": lambda p: (
        f"Every reading is about {ohm(p.size)} too {p.where[0]}: measure the lead zero again."
    ),
    "open_winding": lambda p: f"{p.who} has an open circuit.",
    "open_pin": lambda p: f"{capital(p.contact)} is broken.",
    "shorted_turns": lambda p: f"{capital(p.turns)} of {p.whose} are shorted.",
    "too_few_turns": lambda p: f"{p.who} has {p.turns} too few.",
    "too_many_turns": lambda p: f"{p.who} has {p.turns} too many, or stretched wire.",
    "wire_too_thin": lambda p: _gauge(p, "thin", 0.261),
    "wire_too_thick": lambda p: _gauge(p, "thick", 0.207),
    "aluminium_wire": lambda p: f"{p.who} reads like aluminium wire of the right size.",
    "strand_broken": lambda p: f"One of {p.place.strands} strands of {p.whose} is broken.",
    "bad_joint": lambda p: f"About {ohm(p.size)} too much in {p.contact}: a bad joint.",
    "grounded": lambda p: (
        f"{p.who} is grounded to the core {p.along(0, p.size)}, through about {ohm(p.sizes[1])}."
    ),
    "winding_to_winding": lambda p: (
        f"{capital(within(p.where[0]))} ({p.along(0, p.sizes[1])}) touches {within(p.where[1])} "
        f"({p.along(1, p.size)}), through about {ohm(p.sizes[2])}."
    ),
    "other_spool": _spool,
    "swapped_pins": lambda p: f"Pins {joined(p.where)} are swapped in the connector.",
    "star_delta": _star_delta,
    "unknown": lambda _: "None of the known faults explains these readings.",
}


def ohm(value: float) -> str:
    """A resistance with two digits: 340 mΩ, 12 Ω, 4.7 kΩ."""
    size = abs(value)
    for least, unit, factor in ((1e6, "MΩ", 1e-6), (1e3, "kΩ", 1e-3), (1.0, "Ω", 1.0)):
        if size >= least:
            return f"{number(size * factor)} {unit}"
    return f"{number(1000.0 * size)} mΩ"
