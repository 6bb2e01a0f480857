"""One plain sentence for each fault, with its physical size. Not for probabilities."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

from acquire.records import Branch, Sheet
from acquire.steps.wording import is_code, within
from acquire.verdict.dictionary import Case


def sentence(case: Case, sizes: Sequence[float], sheet: Sheet) -> str:
    """What a fault is, where it sits and how large it is; two sentences for two faults.

    Args:
        case: the fault and its place.
        sizes: as its circuits count them: a fraction of a winding, ohms or kelvin.
        sheet: for numbers of turns and the ends of windings.
    """
    said = [
        _WORDS[fault](_Place(where, sheet, sizes[number:]))
        for number, (fault, where) in enumerate(case.faults)
    ]
    return said[0] if len(said) == 1 else f"Two faults. {' '.join(said)}"


class _Place:
    """Where a fault sits and how large it is, ready to be put into words."""

    def __init__(self, where: tuple[str, ...], sheet: Sheet, sizes: Sequence[float]) -> None:
        self.where = where
        self.sheet = sheet
        self.sizes = sizes
        self.branches = {branch.name: branch for branch in sheet.branches}

    @property
    def size(self) -> float:
        return self.sizes[0]

    @property
    def who(self) -> str:
        """The windings as a sentence begins: "The trigger", "P1"."""
        return _capital(_listed([each if is_code(each) else f"the {each}" for each in self.where]))

    @property
    def whose(self) -> str:
        """The windings within a sentence: "the trigger", "winding P1"."""
        return _listed([within(each) for each in self.where])

    @property
    def branch(self) -> Branch:
        return self.branches[self.where[0]]

    @property
    def contact(self) -> str:
        """A pin and its lead, or the core and its clip."""
        pin = self.where[0]
        return "the core or its clip" if pin == self.sheet.core else f"pin {pin} or its lead"

    @property
    def turns(self) -> str:
        """As "about 60 of 1020 turns", or as a share where the sheet has no number of turns."""
        fraction = min(max(self.size, 0.0), 1.0)
        if not self.branch.turns:
            return f"about {number(100.0 * fraction)} % of the turns"
        return f"about {max(1, round(fraction * self.branch.turns))} of {self.branch.turns} turns"

    def along(self, name: str, fraction: float) -> str:
        """A place along a winding, from the pin at its first end."""
        branch = self.branches[name]
        end = branch.a.removesuffix("'")
        from_pin = (
            f" from {'pin ' if end != self.sheet.core else 'the '}{end}" if self._touchable(end) else ""
        )
        return f"about {number(100.0 * min(max(fraction, 0.0), 1.0))} % along{from_pin}"

    def _touchable(self, node: str) -> bool:
        return node in self.sheet.pin_names()


def _star_delta(place: _Place) -> str:
    instead = {"delta": "a delta, not a star", "star": "a star, not a delta"}[place.where[-1]]
    return f"The windings {_listed(place.where[:-1])} are joined as {instead}."


def _gauge(place: _Place, word: str, whole: float) -> str:
    steps = "half a gauge" if place.size < 0.7 * whole else "one gauge"
    verb = "is" if len(place.where) == 1 else "are"
    return f"{place.who} {verb} wound with wire too {word} by about {steps}."


_WORDS: Mapping[str, Callable[[_Place], str]] = {
    "healthy": lambda _: "No fault stands out: the readings are within the spread of good units.",
    "warm": lambda p: f"The unit is about {number(p.size)} K warmer than the thermometer says.",
    "cold": lambda p: f"The unit is about {number(p.size)} K colder than the thermometer says.",
    "lead_zero": lambda p: (
        f"Every reading is about {ohm(p.size)} too {p.where[0]}: measure the lead zero again."
    ),
    "open_winding": lambda p: f"{p.who} is broken: no path through it.",
    "open_pin": lambda p: f"{_capital(p.contact)} is broken.",
    "shorted_turns": lambda p: f"{_capital(p.turns)} of {p.whose} are shorted.",
    "too_few_turns": lambda p: f"{p.who} has {p.turns} too few.",
    "too_many_turns": lambda p: f"{p.who} has {p.turns} too many, or stretched wire.",
    "wire_too_thin": lambda p: _gauge(p, "thin", 0.261),
    "wire_too_thick": lambda p: _gauge(p, "thick", 0.207),
    "aluminium_wire": lambda p: f"{p.who} reads like aluminium wire of the right size.",
    "strand_broken": lambda p: f"One of {p.branch.strands} strands of {p.whose} is broken.",
    "bad_joint": lambda p: f"About {ohm(p.size)} too much in {p.contact}: a bad joint.",
    "grounded": lambda p: (
        f"{p.who} touches the core {p.along(p.where[0], p.size)}, through about {ohm(p.sizes[1])}."
    ),
    "winding_to_winding": lambda p: (
        f"{_capital(within(p.where[0]))} ({p.along(p.where[0], p.sizes[1])}) touches {within(p.where[1])} "
        f"({p.along(p.where[1], p.size)}), through about {ohm(p.sizes[2])}."
    ),
    "swapped_pins": lambda p: f"Pins {_listed(p.where)} are in each other's place in the connector.",
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


def number(value: float) -> str:
    """Two significant digits, without an exponent."""
    if value == 0.0 or not math.isfinite(value):
        return "0" if value == 0.0 else "no end of"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(0, digits)}f}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) < 2 else f"{', '.join(names[:-1])} and {names[-1]}"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
