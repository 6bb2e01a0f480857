"""`steadyohm chart RECORD`: the check standard's readings with their limits, as lines of text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise, product
from pathlib import Path
from typing import Annotated

from acquire.answers.options import JournalPlace, OnlyBench, option, say
from acquire.errors import InputImpossible
from acquire.journal.query import Query
from acquire.line.places import record_at
from acquire.physics.check_standard import FEWEST_FOR_A_CHART, chart_of
from acquire.quantity import show
from acquire.records import CheckStandard
from acquire.reports.figures import moment
from acquire.reports.visits import record_of

WIDTH = 41
"""Characters of the picture; odd, so that the centre has a place of its own."""


def chart_lines(
    place: str | Path, resistor: str | None, limit: int, bench: str | None = None
) -> Iterator[str]:
    """The latest readings of each check standard on each bench, a line each, below the limits of its chart.

    Args:
        place: folder of a bench's journal, address of a line's database, or a collector file.
        resistor: only this one; None: all there are.
        limit: at most so many readings of each.
        bench: only this one; None: all that are on the record, each with charts of its own.

    Raises:
        JournalUnusable: there is no record, or it cannot be read.
        InputImpossible: no check standard is on record, or none of this name.
    """
    query = Query(kinds=("check_standard",), bench=bench, with_evidence=False)
    with record_at(place) as record:
        found = [record_of(entry, CheckStandard) for entry in record.find(query)]
    names = sorted({record.resistor for record in found})
    benches = sorted({record.bench for record in found})
    if not names and bench is not None:
        raise InputImpossible(
            f'No check standard of the bench "{bench}" is on record.', "Leave --bench out to see all."
        )
    if not names:
        raise InputImpossible(
            "No check standard is on record.", "Add a [check] table to the bench file; it asks for one then."
        )
    if resistor is not None and resistor not in names:
        raise InputImpossible(f'There is no check standard "{resistor}".', f"There are {', '.join(names)}.")
    for each, name in product(benches, names if resistor is None else [resistor]):
        records = [record for record in found if (record.bench, record.resistor) == (each, name)]
        if records:
            yield from _chart(records[-limit:], f"{each}, {name}" if len(benches) > 1 else name)


def _chart(records: Sequence[CheckStandard], title: str) -> Iterator[str]:
    last = records[-1]
    certified = show(last.certificate_ohm, "Ω", last.certificate_expanded_ohm)
    yield f"{title}: certified {certified} ± {show(last.certificate_expanded_ohm, 'Ω', digits=2)}"
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
        when = moment(record.utc_s)[:16]
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


def chart(
    journal: JournalPlace,
    *,
    resistor: Annotated[str | None, option("Only this check standard.")] = None,
    limit: Annotated[int, option("At most so many readings of each, the latest.", min=2, max=10**9)] = 50,
    bench: OnlyBench = None,
) -> None:
    """Draw the check standard's readings between their limits: is the bench still what it was?"""
    say(chart_lines(journal, resistor, limit, bench))
