"""The rows of a batch: what each step read on every unit, and by how much windings differ that must match.

Not for what is reckoned from a row (batch_series).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime

from acquire.records import BalanceFound, BalanceKind
from acquire.reports.batch_series import Point, Series, row_of
from acquire.reports.batch_units import Stay, Value


def series_of(firsts: Sequence[Stay], subgroup: int | None, confidence: float) -> Iterator[Series]:
    """Every row of a batch: steps in the order in which they first came, then rules over two windings.

    Args:
        firsts: the stays that count.
        subgroup: values in a subgroup; None for charts of single values alone.
        confidence: of the intervals.
    """
    steps = dict.fromkeys(step for stay in firsts for step in stay.values)
    for step in steps:
        there = [(stay, stay.values[step]) for stay in firsts if step in stay.values]
        points = tuple(_point(stay, value) for stay, value in there if value.ohm is not None)
        if not points:
            continue
        last = there[-1][1]
        limits = {(value.lower_ohm, value.upper_ohm) for _, value in there}
        yield row_of(
            (step, f"{last.pin_a}–{last.pin_b}", "Ω"),
            points,
            (last.lower_ohm, last.upper_ohm),
            nominal=last.nominal_ohm,
            moved=len(limits) > 1,
            skipped=len(firsts) - len(points),
            subgroup=subgroup,
            confidence=confidence,
        )
    yield from _rules(firsts, subgroup, confidence)


def _apart(balance: BalanceFound) -> float:
    """What two windings lie apart, over what their rule limits."""
    return 1.0 if balance.kind is BalanceKind.APART else 2.0


def _rules(firsts: Sequence[Stay], subgroup: int | None, confidence: float) -> Iterator[Series]:
    """Differences of two windings that must match, in per cent of their mean, the second less the first."""
    found = [
        (stay, balance) for stay in firsts if stay.result for balance in stay.result.balances
        if len(balance.windings) == 2
    ]  # fmt: skip
    for name in dict.fromkeys(balance.name for _, balance in found):
        there = [(stay, balance) for stay, balance in found if balance.name == name]
        points = []
        for stay, balance in there:
            first, second = balance.ohm
            value = 200.0 * (second - first) / (first + second)
            u = 50.0 * _apart(balance) * balance.expanded_deviation
            names = _names(stay, balance.windings[0])
            points.append(Point(stay.serial, stay.utc_s, value, u, balance.outcome, stay.outcome, *names))
        last = there[-1][1]
        limit = 100.0 * _apart(last) * last.limit
        yield row_of(
            (name, f"{last.windings[1]} less {last.windings[0]}", "%"),
            tuple(points),
            (-limit, limit),
            nominal=None,
            moved=len({balance.limit for _, balance in there}) > 1,
            skipped=len(firsts) - len(points),
            subgroup=subgroup,
            confidence=confidence,
        )


def _point(stay: Stay, value: Value) -> Point:
    spool, day, _, _, bench = _names(stay, value.step)
    day = _day(value.utc_s)
    return Point(
        stay.serial,
        value.utc_s,
        value.ohm or 0.0,
        value.u_ohm,
        value.outcome,
        stay.outcome,
        spool,
        day,
        value.meter,
        value.operator,
        bench,
    )


def _names(stay: Stay, winding: str) -> tuple[str, str, str, str, str]:
    meters = dict.fromkeys(value.meter for value in stay.values.values())
    return (
        stay.spools.get(winding, ""),
        _day(stay.utc_s),
        next(iter(meters), ""),
        stay.operator,
        stay.bench,
    )


def _day(utc_s: float) -> str:
    try:
        return datetime.fromtimestamp(utc_s, UTC).date().isoformat()
    except (ValueError, OverflowError, OSError):
        return ""
