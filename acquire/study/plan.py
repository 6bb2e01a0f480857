"""The plan of a gauge study: who measures which part when, in random order under names that tell nothing.

Pure, and the same for the same seed. Not for measuring (`work`) and not for reckoning (`report`).
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.errors import InputImpossible

LETTERS = "ACDEFHJKLMNPRTUVWXY"
"""For labels: letters that are not taken for digits or for one another on a handwritten tag."""

MOST_PARTS, MOST_OPERATORS, MOST_TRIALS = 60, 12, 12
"""More is no study but a mistake in typing."""

LONGEST_NAME = 60
"""Characters of a name; it must fit on a tag and on a line of the report."""


@dataclass(frozen=True, slots=True)
class Part:
    """One unit of the study: two letters drawn at random, told to operators, and its serial or number."""

    label: str
    name: str


@dataclass(frozen=True, slots=True)
class Turn:
    """One measurement that is to be made: its place in the plan, its round, both from 1, by whom, of what."""

    number: int
    trial: int
    operator: str
    label: str


@dataclass(frozen=True, slots=True)
class Plan:
    """Everybody measures every part equally often; the seed gives the order of the turns."""

    parts: tuple[Part, ...]
    operators: tuple[str, ...]
    trials: int
    seed: int
    turns: tuple[Turn, ...]

    def name_of(self, label: str) -> str:
        """Serial or number of the part with that label."""
        return next(part.name for part in self.parts if part.label == label)


def plan_of(parts: Sequence[str], operators: Sequence[str], trials: int, seed: int) -> Plan:
    """Draw labels and an order.

    In each round every operator, in an order drawn anew, measures all parts in an order drawn anew: nobody
    measures one part twice in a row, and nobody need swap places after each part. Common practice
    (AIAG, Measurement Systems Analysis, 4th ed., on conducting a study).

    Args:
        parts: their names, two or more, all different.
        operators: who measures, one or more, all different.
        trials: two or more.
        seed: the same one gives the same plan.

    Raises:
        InputImpossible: too few or too many of something, a name twice, or one that cannot be used.
    """
    _refuse("part", parts, 2, MOST_PARTS)
    _refuse("operator", operators, 1, MOST_OPERATORS)
    if not 2 <= trials <= MOST_TRIALS:
        raise InputImpossible(
            f"A study needs 2 to {MOST_TRIALS} trials, not {trials}.", "Three is usual; give --trials 3."
        )
    dice = random.Random(seed)  # noqa: S311  (an order that can be drawn again, no secret)
    labels = dice.sample([a + b for a in LETTERS for b in LETTERS if a != b], len(parts))
    tagged = tuple(Part(label, name) for label, name in zip(labels, parts, strict=True))
    turns: list[Turn] = []
    last: tuple[str, str] | None = None
    for trial in range(1, trials + 1):
        order = _shuffled(dice, operators)
        for operator in order:
            row = _shuffled(dice, labels)
            if last == (operator, row[0]):  # the same hands on the same part twice in a row are no repeat
                row.append(row.pop(0))
            turns += [Turn(len(turns) + i, trial, operator, label) for i, label in enumerate(row, start=1)]
            last = (operator, row[-1])
    return Plan(tagged, tuple(operators), trials, seed, tuple(turns))


def parts_named(text: str) -> tuple[str, ...]:
    """Names of parts from what was typed: a number makes that many, a list with commas names them.

    Raises:
        InputImpossible: nothing was typed, or a number out of range.
    """
    words = names_in(text)
    if len(words) == 1 and words[0].isdecimal():
        count = int(words[0]) if len(words[0]) < 5 else MOST_PARTS + 1
        if not 2 <= count <= MOST_PARTS:
            raise InputImpossible(
                f"A study needs 2 to {MOST_PARTS} parts, not {words[0]}.", "Ten is usual; give --parts 10."
            )
        return tuple(str(number) for number in range(1, count + 1))
    return words


def names_in(text: str) -> tuple[str, ...]:
    """Names from a list with commas."""
    return tuple(word.strip() for word in text.split(",") if word.strip())


def _refuse(what: str, names: Sequence[str], fewest: int, most: int) -> None:
    if not fewest <= len(names) <= most:
        plural = what if fewest == 1 == most else f"{what}s"
        raise InputImpossible(
            f"A study needs {fewest} to {most} {plural}, not {len(names)}.", f"Name them with --{what}s."
        )
    for name in names:
        if not name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
            raise InputImpossible(
                f"{name[:LONGEST_NAME]!r} is no name for one of the {what}s.", "Shorten it."
            )
    twice = {name for name in names if names.count(name) > 1}
    if twice:
        raise InputImpossible(f"The {what} {min(twice)} is given twice.", "Give each its own name.")


def _shuffled(dice: random.Random, names: Sequence[str]) -> list[str]:
    row = list(names)
    dice.shuffle(row)
    return row
