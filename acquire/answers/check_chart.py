"""`steadyohm chart JOURNAL`: the check standard's readings with their limits, as lines of text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from acquire.errors import InputImpossible
from acquire.journal.history import JournalReader, Question
from acquire.physics.check_standard import FEWEST_FOR_A_CHART, chart_of
from acquire.quantity import show
from acquire.records import CheckStandard

WIDTH = 41
"""Characters of the picture; odd, so that the centre has a place of its own."""


def chart_lines(journal: Path, resistor: str | None, limit: int) -> Iterator[str]:
    """The latest readings of each check standard, a line each, below the limits of its chart.

    Args:
        journal: folder of a bench's journal.
        resistor: only this one; None: all there are.
        limit: at most so many readings of each.

    Raises:
        JournalUnusable: there is no journal, or it cannot be read.
        InputImpossible: no check standard is on record, or none of this name.
    """
    found = readings_of(journal)
    names = sorted({record.resistor for record in found})
    if not names:
        raise InputImpossible(
            "No check standard is on record.", "Add a [check] table to the bench file; it asks for one then."
        )
    if resistor is not None and resistor not in names:
        raise InputImpossible(f'There is no check standard "{resistor}".', f"There are {', '.join(names)}.")
    for name in names if resistor is None else [resistor]:
        yield from _chart([record for record in found if record.resistor == name][-limit:])


def readings_of(journal: Path) -> list[CheckStandard]:
    """All check standards on record, oldest first.

    Raises:
        JournalUnusable: there is no journal, or it cannot be read.
    """
    with JournalReader(journal) as reader:
        found = [entry.record for entry in reader.find(Question(kinds=("check_standard",)))]
    return [record for record in found if isinstance(record, CheckStandard)]


def _chart(records: Sequence[CheckStandard]) -> Iterator[str]:
    last = records[-1]
    certified = show(last.certificate_ohm, "Ω", last.certificate_expanded_ohm)
    yield f"{last.resistor}: certified {certified} ± {show(last.certificate_expanded_ohm, 'Ω', digits=2)}"
    sound = [record.reading_ohm for record in records if record.in_control]
    if len(sound) < FEWEST_FOR_A_CHART:
        yield f"  limits are drawn from {FEWEST_FOR_A_CHART} readings in control on; there are {len(sound)}."
        reach = 1.5 * math.hypot(last.certificate_expanded_ohm, last.expanded_ohm)
        lower, centre, upper = (
            last.certificate_ohm - reach,
            last.certificate_ohm,
            last.certificate_ohm + reach,
        )
    else:
        chart = chart_of(sound)
        lower, centre, upper = chart.lower_ohm, chart.centre_ohm, chart.upper_ohm
        yield (
            f"  individuals: centre {centre:.6g} Ω, limits {lower:.6g} to {upper:.6g} Ω; "
            f"moving range: mean {chart.moving_range_ohm:.2g} Ω, limit {chart.moving_range_upper_ohm:.2g} Ω"
        )
    if lower == upper:  # a coarse display that always shows the same
        lower, upper = centre - last.expanded_ohm, centre + last.expanded_ohm
    jumps = [0.0, *(abs(b.reading_ohm - a.reading_ohm) for a, b in pairwise(records))]
    for record, jump in zip(records, jumps, strict=True):
        when = datetime.fromtimestamp(record.utc_s, UTC).strftime("%Y-%m-%d %H:%M")
        word = "" if record.in_control else f"  {', '.join(record.signs).replace('_', ' ')}"
        picture = _picture(record.reading_ohm, lower, upper)
        yield f"  {when} {record.reading_ohm:>11.6g} {picture} range {jump:<8.2g}{word}".rstrip()


def _picture(ohm: float, lower: float, upper: float) -> str:
    """One reading between its limits `┃`, with the centre `·`; `◀` and `▶` lie outside."""
    first, last = 4, WIDTH - 5
    line = [" "] * WIDTH
    line[first] = line[last] = "┃"
    line[WIDTH // 2] = "·"
    at = round(first + (ohm - lower) / (upper - lower) * (last - first))
    if at < first:
        line[max(at, 0)] = "◀"
    elif at > last:
        line[min(at, WIDTH - 1)] = "▶"
    else:
        line[at] = "◆"
    return "".join(line)
